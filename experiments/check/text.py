"""What people and programs read of a check, a run or a set of margins: lines, JSON and the list of figures."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from calibrate.protocol import Failed
from controller.margins.budget import BudgetRow
from controller.margins.margins import Margins
from controller.tick.timing import dead_ticks
from experiments.check.agreement import agreement_lines
from experiments.check.check import Check, unstable_poles
from experiments.check.judged import Judged, least_margins
from experiments.check.record_text import record_json, record_lines
from experiments.check.tracking import Tracking
from experiments.rigs.requirements import FIGURES, Verdict
from experiments.simulation.set_point import Calibration, confirmation_text
from experiments.simulation.simulate import Run
from experiments.work.output import CAUTION
from plant.pressure.record_quality import NARROW_Hz

SMALLEST = 1e-9  # of a figure that is shown: a share of ticks below it will never be seen


def margins_lines(name: str, loops: list[Judged], worst: Judged, rows: list[BudgetRow]) -> list[str]:
    """A short table of margins and the phase budget at the worst loop's crossover."""
    lines = [f"margins of {name}, exact sampled loop ({_dead_time(worst)})", ""]
    lines.append(f"{'operating point':<20}{'gain':>9}{'reduce':>9}{'phase':>8}{'delay':>19}{'modulus':>9}{'Ms':>7}"
                 f"{'crossover':>11}{'bandwidth':>11}")
    for judged in loops:
        lines.append(_margin_row(judged.name, judged.margins,
                                 "  < worst" if judged is worst and len(loops) > 1 else ""))
    lines += _slope_rows(loops)
    lines += effort_lines(loops)
    for judged in loops:
        if not judged.margins.stable:
            poles = ", ".join(f"{p:.4f}" for p in unstable_poles(judged)[:4])
            lines.append(f"{judged.name}: UNSTABLE, closed-loop poles outside the unit circle: {poles}")
        if not judged.margins.resolved:
            turning = bool(judged.margins.gain_crossovers)
            why = "its phase turns too fast to be followed" if turning else "it has hardly any gain"
            lines.append(f"{judged.name}: {why}; do not trust its margins")
    if worst.margins.stable and worst.margins.gain_crossovers:
        lines.append(_where(worst))
    point = worst.loop.point
    if not point.smooth:
        lines += ["", "The valve rests inside its dead band here: its small-signal gain at rest is zero, and each row "
                  "describes the gain just past one edge. A quiescent bleed or the flow inverse cures it."]
    if rows:
        lines += ["", f"phase budget at {worst.margins.crossover_Hz:.3g} Hz ({worst.name})"]
        ordered = sorted(rows, key=lambda r: r.phase_deg)
        lines += [f"  {row.part:<29}{_rounded(row.phase_deg):>8.1f}°" for row in ordered]
        total = sum(row.phase_deg for row in rows)
        lines.append(f"  {'sum':<29}{total:>8.1f}°   phase margin {_wrapped(180.0 + total):.1f}°")
    return lines


def _rounded(degrees: float) -> float:
    """To the decimal that is printed, without a negative zero."""
    return round(degrees, 1) + 0.0


def _where(worst: Judged) -> str:
    """At which frequencies the worst loop's margins are met: where a change of the rig bites."""
    m = worst.margins
    crossings = ", ".join(f"{c.frequency_Hz:.3g} Hz ({c.phase_margin_deg:.0f}°)" for c in m.gain_crossovers)
    gain = f"{m.gain_margin_Hz:.3g} Hz" if math.isfinite(m.gain_margin_Hz) else "no frequency"
    return f"worst: gain margin met at {gain}, modulus margin at {m.modulus_margin_Hz:.3g} Hz, crossovers {crossings}"


def _wrapped(degrees: float) -> float:
    return (degrees + 180.0) % 360.0 - 180.0


def _dead_time(judged: Judged) -> str:
    ticks, dead_ms = sum(dead_ticks(judged.loop.timing)), 1e3 * judged.loop.timing.dead_time_s
    return f"dead time {dead_ms:.3g} ms = {ticks:.3g} {'tick' if ticks == 1.0 else 'ticks'}"


def _decibel(factor: float) -> str:
    if not math.isfinite(factor) or factor <= 0.0:
        return "∞ dB"
    return f"{20 * math.log10(factor):.1f} dB"


def _decibel_of(value_dB: float) -> str:
    return f"{value_dB:.1f} dB" if math.isfinite(value_dB) else "∞ dB"


def _margin_row(name: str, m: Margins, note: str) -> str:
    if not m.stable:
        return f"{name:<20}  unstable ({m.unstable_closed_loop_poles} poles outside the unit circle){note}"
    delay = "∞"
    if math.isfinite(m.delay_margin_s):
        delay = f"{1e3 * m.delay_margin_s:.2f} ms = {m.delay_margin_ticks:.1f} T"
    return (f"{name:<20}{_decibel(m.gain_margin):>9}{_decibel(m.gain_reduction_margin):>9}"
            f"{_finite(m.phase_margin_deg):>7}°{delay:>19}{m.modulus_margin:>9.3f}{m.sensitivity_peak:>7.2f}"
            f"{_hertz(m.crossover_Hz):>11}{_hertz(m.bandwidth_Hz):>11}{note}")


def _slope_rows(loops: list[Judged]) -> list[str]:
    """The worst of each margin over the search's slope error, where it was asked for: one row for all loops."""
    spread = [m for j in loops for m in j.spread]
    if not spread:
        return []
    if not all(m.stable for m in spread):
        return [f"slope off ± {100.0 * loops[0].slope_error:.3g} %: unstable"]
    worst = least_margins(spread)
    name = f"slope off ± {100.0 * loops[0].slope_error:.3g} %"
    delay = f"{1e3 * worst['delay_margin_s']:.2f} ms = {worst['delay_margin_ticks']:.1f} T" \
        if math.isfinite(worst["delay_margin_s"]) else "∞"
    return [f"{name:<20}{_decibel_of(worst['gain_margin_dB']):>9}{_decibel_of(-worst['gain_reduction_margin_dB']):>9}"
            f"{_finite(worst['phase_margin_deg']):>7}°{delay:>19}{worst['modulus_margin']:>9.3f}"
            f"{worst['sensitivity_peak']:>7.2f}{_hertz(worst['crossover_Hz']):>11}{_hertz(worst['bandwidth_Hz']):>11}"
            "  worst of each"]


def effort_lines(loops: list[Judged]) -> list[str]:
    """What noise and pulse make of the command, of the loop where it does most."""
    told = [j for j in loops if j.effort is not None]
    if not told:
        return []
    most = max(told, key=lambda j: (j.effort or {})["command_step_sd"])
    effort = most.effort or {}
    if math.isnan(effort["command_noise_rms"]):
        return []
    return [f"command, share of full ({most.name}): rms {effort['command_noise_rms']:.3g} by light noise, "
            f"{effort['command_pulse_rms']:.3g} by the pulse,",
            f"  SD from tick to tick {effort['command_step_sd']:.3g}, predicted at a limit "
            f"{_share(effort['command_limit_share'])} of ticks"]


def _share(value: float) -> str:
    """A share of ticks in percent; below what a day of ticks shows as none."""
    return f"{100.0 * value:.2g} %" if value > 1e-8 else "0 %"


def _finite(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "∞"


def _hertz(value: float) -> str:
    if math.isnan(value):
        return "none"
    return f"{_finite(value)} Hz"


def run_lines(run: Run, found: Tracking | None) -> list[str]:
    """What a run came to."""
    cuff = run.channels["cuff_mmHg"]
    ticks = len(cuff)
    lines = [f"{run.rig.name} on {run.trace.name}: {ticks * run.period_s:.1f} s, {ticks} ticks of "
             f"{1e3 * run.period_s:g} ms, {run.substeps} Runge–Kutta steps a tick, seed {run.seed}"]
    if run.status != "done":
        lines.append(run.message)
    lines.append(f"cuff pressure {np.min(cuff):.1f} … {np.max(cuff):.1f} mmHg")
    if found is None:
        lines.append("too little settled clamp to judge tracking")
    else:
        lines += str(found).splitlines()
    return lines


def verdict_lines(verdicts: list[Verdict]) -> list[str]:
    """One line a limit."""
    lines = [f"{'requirement':<46}{'found':>12}{'limit':>14}"]
    for v in verdicts:
        what = f"{FIGURES[v.figure][1]}{' (' + v.limit[:-4] + ')' if '_' in v.limit else ''}"
        sign = "≥" if v.limit == "min" else "≤"
        lines.append(f"{what:<46}{_number(v.found):>12}{sign + ' ' + _number(v.allowed):>14} {v.unit:<6}"
                     f"{'pass' if v.passed else 'FAIL'}")
    return lines


def _number(value: float) -> str:
    if math.isnan(value):
        return "none"
    return "∞" if math.isinf(value) else f"{value:.4g}" if abs(value) > SMALLEST else "0"


def calibration_lines(calibration: Calibration, tracked: Tracking | None, best: Tracking | None) -> list[str]:
    """What the search found, how far off it was, and what it cost: tracking there and at the true set point."""
    found = calibration.found
    if isinstance(calibration.outcome, Failed):
        return [f"set point: NOT FOUND after {calibration.search_s:.1f} s: {calibration.outcome.message}",
                "the run below is at the true set point, which no instrument knows"]
    assert found is not None
    lines = [
        f"set point found in {calibration.search_s:.1f} s (first clamp {calibration.first_clamp_s:.1f} s, shown "
        f"from {calibration.first_waveform_s:.1f} s on): "
        f"light {found.set_point:.4f} at {found.cuff_mmHg:.0f} mmHg, ± {found.interval_mmHg:.1f} mmHg (90 %)",
        f"true error {calibration.error_mmHg:+.2f} mmHg of transmural pressure; light slope "
        f"{calibration.slope_ratio:.3f} of the true one",
    ]
    if calibration.confirmation:
        lines.append(confirmation_text(calibration.confirmation))
    if tracked is not None and best is not None:
        lines.append(f"cost of calibration: tracking error {tracked.ideal.rms_mmHg:.2f} mmHg rms, "
                     f"{best.ideal.rms_mmHg:.2f} at the true set point")
    return lines


def calibration_json(calibration: Calibration, best: Tracking | None) -> dict[str, Any]:
    """The same as plain data."""
    outcome = calibration.outcome
    told: dict[str, Any] = outcome._asdict()
    if isinstance(outcome, Failed):
        told["message"] = outcome.message
    return {"calibration": {
        "found": calibration.found is not None, **told,
        "error_mmHg": calibration.error_mmHg, "slope_ratio": calibration.slope_ratio,
        "first_waveform_s": calibration.first_waveform_s, "first_clamp_s": calibration.first_clamp_s,
        "search_s": calibration.search_s,
        "highest_mmHg": calibration.highest_mmHg,
        "confirmation": calibration.confirmation._asdict() if calibration.confirmation else None,
        "rms_at_true_set_point_mmHg": best.ideal.rms_mmHg if best else None,
    }}


def check_lines(result: Check) -> list[str]:
    """The whole check on one screen."""
    lines = [*record_lines(result.run.trace), ""]
    lines += margins_lines(result.rig.name, result.loops, result.worst, result.budget)
    lines += ["", *calibration_lines(result.calibration, result.tracking, result.best), ""]
    lines += run_lines(result.run, result.tracking)
    lines += [*agreement_lines(result.agreement), ""]
    lines += [*verdict_lines(result.verdicts), ""]
    lines.append(f"{'PASS' if result.passed else 'FAIL'}: {result.rig.name} on {result.run.trace.name}")
    if result.kept and not result.passed:
        lines[-1] = (f"NO PASS: {result.rig.name} keeps its limits on {result.run.trace.name}, but the record is cut "
                     f"off below {NARROW_Hz:g} Hz")
    return [*lines, CAUTION]


def _margins_json(judged: Judged) -> dict[str, Any]:
    m = judged.margins
    return {
        "operating_point": judged.name, "side": judged.loop.side, "smooth_at_rest": judged.loop.point.smooth,
        "arterial_mmHg": judged.loop.point.around.arterial_mmHg, "stable": m.stable, "resolved": m.resolved,
        "unstable_closed_loop_poles": unstable_poles(judged) if not m.stable else [],
        "gain_margin": m.gain_margin, "gain_reduction_margin": m.gain_reduction_margin,
        "phase_margin_deg": m.phase_margin_deg, "delay_margin_s": m.delay_margin_s,
        "delay_margin_ticks": m.delay_margin_ticks, "modulus_margin": m.modulus_margin,
        "sensitivity_peak": m.sensitivity_peak, "crossover_Hz": m.crossover_Hz, "bandwidth_Hz": m.bandwidth_Hz,
        "gain_crossovers": [c._asdict() for c in m.gain_crossovers],
        "phase_crossovers": [c._asdict() for c in m.phase_crossovers],
        "command": judged.effort,
    }


def loops_json(loops: list[Judged], worst: Judged, rows: list[BudgetRow]) -> dict[str, Any]:
    """Margins of every loop and the budget of the worst."""
    return {
        "margins": [_margins_json(j) for j in loops],
        "worst": worst.name, "slope_error": loops[0].slope_error,
        "over_slope_error": least_margins([m for j in loops for m in j.spread]) if loops[0].spread else None,
        "phase_budget": {"at_Hz": worst.margins.crossover_Hz, "degrees": {r.part: r.phase_deg for r in rows}},
    }


def run_json(run: Run, found: Tracking | None) -> dict[str, Any]:
    """A run's outcome and tracking figures."""
    cuff = run.channels["cuff_mmHg"]
    return {
        "rig": run.rig.name, "tables": run.rig.tables, "record": {"name": run.trace.name, "source": run.trace.source},
        "run": {"status": run.status, "message": run.message, "seconds": len(cuff) * run.period_s,
                "substeps": run.substeps, "plan": run.plan._asdict(), "set_point": run.point.light,
                "cuff_low_mmHg": float(np.min(cuff)), "cuff_high_mmHg": float(np.max(cuff))},
        "tracking": found.as_dict() if found is not None else None,
    }


def check_json(result: Check) -> dict[str, Any]:
    """The whole check as plain data."""
    verdicts = [
        {**v._asdict(), "found": None if math.isnan(v.found) else v.found, "passed": v.passed} for v in result.verdicts
    ]
    agreed = result.agreement._asdict() | {"parted": result.agreement.parted} if result.agreement else None
    return {"passed": result.passed, "verdicts": verdicts, "agreement": agreed,
            **calibration_json(result.calibration, result.best),
            **run_json(result.run, result.tracking), **record_json(result.run.trace),
            **loops_json(result.loops, result.worst, result.budget)}


def margin_figures_of(
    name: str, loops: list[Judged], worst: Judged, rows: list[BudgetRow]
) -> dict[str, Callable[[], Any]]:
    """Figures of the linear loop: the worst operating point's sides, and the budget."""
    from experiments.check.pictures_loop import budget_figure, margins_figure

    point = worst.loop.point
    pair = [(j.loop, j.margins) for j in loops if j.loop.point is point]
    figures: dict[str, Callable[[], Any]] = {
        "margins": lambda: margins_figure(pair, f"{name}: loop at {point.around.arterial_mmHg:.0f} mmHg arterial")
    }
    if rows:
        title = f"{name}: what each part costs ({worst.name})"
        figures["budget"] = lambda: budget_figure(rows, worst.margins.crossover_Hz, title)
    return figures


def check_figures(result: Check) -> dict[str, Callable[[], Any]]:
    """All figures of a check."""
    from experiments.check.pictures_run import tracking_figure

    figures = margin_figures_of(result.rig.name, result.loops, result.worst, result.budget)
    word = "pass" if result.passed else "fail"
    title = f"{result.rig.name} on {result.run.trace.name}: {word}"
    return figures | {"tracking": lambda: tracking_figure(result.run, result.tracking, title)}
