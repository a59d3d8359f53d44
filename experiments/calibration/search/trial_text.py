"""What people and programs read of one search: lines and JSON."""
from __future__ import annotations

import math
from typing import Any

from calibrate.protocol import Failed, Found
from experiments.calibration.search.staircase import phases, step_rows
from experiments.calibration.search.trial import Trial, inside_interval, truth_of
from experiments.simulation.set_point import CONFIRMING, confirmation_text
from experiments.work.output import CAUTION


def search_lines(trial: Trial) -> list[str]:
    """The whole search on one screen."""
    lines = [
        f"search '{trial.strategy.name}' ({trial.strategy.about})",
        f"of {trial.rig.name} on {trial.name}: {trial.about}", "",
        f"{'step':>4}{'from':>9}{'cuff pressure':>16}{'mean light':>13}{'pulsation':>12}  {'purpose':<18}used?",
    ]
    for row in step_rows(trial):
        lines.append(f"{row.number:>4}{row.start_s:>7.1f} s{row.cuff_mmHg:>11.1f} mmHg{row.light:>13.4f}"
                     f"{_share(row.pulsation):>12}  {row.purpose or '–':<18}{row.note}")
    clamps = [p for p in phases(trial) if p.kind == "clamp" and p.purpose not in ("clamp", "judged", CONFIRMING)]
    if clamps:
        told = ", ".join(f"{p.purpose or 'clamp'}{f' ({p.times} times)' if p.times > 1 else ''} "
                         f"{p.start_s:.1f}–{p.end_s:.1f} s" for p in clamps)
        lines.append(f"in the clamp: {told}")
    lines += ["", *outcome_lines(trial), "", CAUTION]
    return lines


def _share(pulsation: float) -> str:
    return f"{100 * pulsation:.2f} %" if math.isfinite(pulsation) else "–"


def outcome_lines(trial: Trial) -> list[str]:
    """The estimate with the truth beside it, or the failure and what to do."""
    calibration, truth = trial.calibration, truth_of(trial)
    outcome = calibration.outcome
    if isinstance(outcome, Failed):
        what, _, advice = outcome.message.rpartition("): ")
        lines = [f"NO SET POINT after {calibration.search_s:.1f} s: {outcome.reason}", f"  seen: {what})",
                 f"  what to do: {advice}"]
        if trial.point is not None and math.isfinite(truth.systolic_mmHg):
            lines.append(f"  truth: unloaded at {truth.cuff_mmHg:.1f} mmHg of cuff pressure, light {truth.light:.4f}")
        return lines
    inside = "inside" if inside_interval(calibration) else "OUTSIDE"
    error = calibration.error_mmHg
    verdict = calibration.confirmation
    return [
        f"set point found after {calibration.search_s:.1f} s; first clamp after {calibration.first_clamp_s:.1f} s, "
        f"first waveform shown after {calibration.first_waveform_s:.1f} s", "",
        f"{'':<46}{'found':>12}{'truth':>12}{'error':>12}",
        f"{'set point: light (share of full scale)':<46}{outcome.set_point:>12.5f}{truth.light:>12.5f}"
        f"{outcome.set_point - truth.light:>+12.5f}",
        f"{'mean cuff pressure in the clamp (mmHg)':<46}{truth.held_cuff_mmHg:>12.1f}{truth.cuff_mmHg:>12.1f}"
        f"{truth.held_cuff_mmHg - truth.cuff_mmHg:>+12.1f}",
        f"{'transmural pressure held, and of p0 (mmHg)':<46}{truth.transmural_mmHg:>12.2f}{truth.unloaded_mmHg:>12.2f}"
        f"{error:>+12.2f}",
        f"{'  90 % interval of that error':<46}{'± ' + format(outcome.interval_mmHg, '.2f'):>12}{'':>12}{inside:>12}",
        f"{'light per cuff pressure (1/mmHg)':<46}{outcome.light_slope:>12.3g}{truth.light_slope:>12.3g}"
        f"{100 * (outcome.light_slope / truth.light_slope - 1):>+11.1f} %",
        *(["", confirmation_text(verdict)] if verdict else []),
    ]


def search_json(trial: Trial) -> dict[str, Any]:
    """The same as plain data."""
    calibration, outcome = trial.calibration, trial.calibration.outcome
    told: dict[str, Any] = outcome._asdict()
    if isinstance(outcome, Found):
        told["interval_90_mmHg"] = outcome.interval_mmHg
    else:
        told["message"] = outcome.message
    return {
        "rig": trial.rig.name, "tables": trial.rig.tables, "strategy": trial.strategy.name,
        "finger_or_record": {"name": trial.name, "about": trial.about},
        "found": isinstance(outcome, Found), "outcome": told,
        "error_mmHg": calibration.error_mmHg, "inside_interval": inside_interval(calibration),
        "slope_ratio": calibration.slope_ratio, "first_waveform_s": calibration.first_waveform_s,
        "first_clamp_s": calibration.first_clamp_s,
        "search_s": calibration.search_s, "highest_mmHg": calibration.highest_mmHg,
        "confirmation": calibration.confirmation._asdict() if calibration.confirmation else None,
        "truth": truth_of(trial)._asdict(), "steps": [row._asdict() for row in step_rows(trial)],
        "phases": [phase._asdict() for phase in phases(trial)], "noise_seed": trial.seed,
        "substeps": trial.session.substeps,
    }
