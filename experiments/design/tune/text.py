"""What people and programs read of a tuning: the table, JSON, and a rig file with the settings that were found."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from controller.tick.parameters import Controller
from experiments.check.agreement import APART
from experiments.design.tune.cases import usual_slope_error
from experiments.design.tune.limits import split
from experiments.design.tune.study import Row, Tuning
from experiments.design.tune.verdict import LARGEST_IS_WORST, left_behind
from experiments.rigs.spread_tables import SPREAD
from experiments.rigs.table import difference_lines
from experiments.rigs.uncertain import tables_lines
from experiments.work.output import CAUTION

NAME_WIDTH = 30
MOST_BROKEN = 6  # fingers that are listed
SHOWN = {  # settings that the table shows, with the number's form and the unit
    "kp": ("Kp {:.4g}", 1.0), "ti_s": ("Ti {:.3g} ms", 1e3), "td_s": ("Td {:.3g} ms", 1e3),
    "filter_ratio": ("N {:.3g}", 1.0),
}

SHORT = {
    "gain_margin_dB": "gain", "gain_reduction_margin_dB": "gain reduction", "phase_margin_deg": "phase",
    "delay_margin_s": "delay", "delay_margin_ticks": "delay", "modulus_margin": "modulus", "sensitivity_peak": "Ms",
    "command_noise_rms": "command by noise", "command_pulse_rms": "command by pulse",
    "command_step_sd": "command by tick", "command_limit_share": "share at a limit",
}


def settings_text(controller: Controller) -> str:
    """The settings of a controller in one line, only the terms it has."""
    used = ["kp", *(["ti_s"] if controller.ti_s else []), *(["td_s", "filter_ratio"] if controller.td_s else [])]
    if controller.form != "ideal":
        parts = [f"Kp {controller.kp:.4g}", f"Ki {controller.ki:.4g}", f"Kd {controller.kd:.4g}"]
    else:
        parts = [SHOWN[name][0].format(SHOWN[name][1] * getattr(controller, name)) for name in used]
    if controller.lead_zero_Hz != controller.lead_pole_Hz:
        kind = "lead" if controller.lead_pole_Hz > controller.lead_zero_Hz else "lag"
        parts.append(f"{kind} {controller.lead_zero_Hz:.3g}/{controller.lead_pole_Hz:.3g} Hz")
    if controller.notch_Hz > 0.0 and controller.notch_depth_dB > 0.0:
        parts.append(f"notch {controller.notch_Hz:.3g} Hz, {controller.notch_width_Hz:.3g} wide, "
                     f"{controller.notch_depth_dB:.3g} dB")
    return ", ".join(parts)


def worst_margin(tuning: Tuning, row: Row, figure: str) -> float:
    """A margin at the fingers that count: the worst, or the one at the percentile; NaN where one is unstable."""
    values = row.found.margins[figure]
    bad = np.sort(np.where(np.isnan(values), math.inf, values if figure in LARGEST_IS_WORST else -values))
    behind = left_behind(tuning.people, tuning.percentile)
    value = float(bad[len(bad) - 1 - behind])
    return math.nan if math.isinf(value) else value if figure in LARGEST_IS_WORST else -value


def _provenance(tuning: Tuning) -> str:
    usual = tuning.slope_error == usual_slope_error(tuning.rig)
    return "95 % of searches are not further off" if usual else "as asked for"


def tuning_lines(tuning: Tuning) -> list[str]:
    """The whole tuning on one screen."""
    count, all_of = len(tuning.people.cases), "every finger"
    if tuning.percentile < 100.0:
        all_of = f"{tuning.percentile:g} % of the fingers"
    asked = [", ".join(limit.text for limit in some) for some in split(tuning.limits) if some]
    lines = [
        f"tuning of {tuning.rig.name} on {count} fingers ({tuning.group}, seed {tuning.seed}): least tracking error "
        f"for {all_of} subject to",
        *(f"  {line}" for line in asked),
        f"  at mean, low and high pressure, each side of the valve, light slope off by ± {100 * tuning.slope_error:g} %"
        f" ({_provenance(tuning)})", *_spread_lines(tuning), "",
        f"{'':<{NAME_WIDTH}}{'factor':>7}{'Ms':>7}{'delay':>8}{'phase':>8}{'rms':>8}{'pulse':>8}{'noise':>8}"
        f"{'command':>9}{'by tick':>9}",
    ]
    lines += [_row_line(tuning, tuning.tuned), _row_line(tuning, tuning.shipped)]
    lines += [] if tuning.as_it_is is None else [_row_line(tuning, tuning.as_it_is)]
    for title, rows in (("classical rules as published", tuning.published),
                        ("the same, gain scaled to the limits", tuning.scaled), ("structures", tuning.structures)):
        lines += [title, *(_row_line(tuning, row, "  ") for row in rows)]
        if rows is tuning.scaled:
            lines += [f"  {r.name}: no factor on its gain keeps every limit"
                      for r in tuning.published if r.name not in {s.name for s in tuning.scaled}]
    lines += [
        "", "rms: tracking error of the worst finger that counts [mmHg], by the linear loop: arterial pressure, veins "
        "(pulse) and", "the light's noise."
        " delay [ticks], phase [°] and Ms: the worst of all loops. "
        "factor: on the rule's Kp.",
        "command: its rms by noise, and its SD from tick to tick, share of full command, worst finger and side of the "
        "valve.", "", f"tuned: {settings_text(tuning.tuned.found.controller)}",
    ]
    return lines + _against(tuning) + _confirmation_lines(tuning) + ["", CAUTION]


def _spread_lines(tuning: Tuning) -> list[str]:
    """What a bench left open, and that each finger has its own of it."""
    if tuning.as_it_is is None:
        return []
    good = {row.name: int(np.sum(np.max(row.found.finger_shortfall, axis=1) <= 0.0))
            for row in (tuning.tuned, tuning.as_it_is)}
    count = len(tuning.rig.tables.get(SPREAD, {}))
    whose = f"on a rig of its own, drawn within [spread] ({count} numbers, firmware as it is)"
    if tuning.on_response:
        whose = ("on measured data in place of the twin of valve, line, cuff and transducer, drawn within its "
                 "uncertainty")
    return [f"  each finger {whose}: with the tuned setting",
            f"  every limit is kept on {good[tuning.tuned.name]} of {len(tuning.people.cases)}; on "
            f"{'the response' if tuning.on_response else 'the rig'} as it is on {good[tuning.as_it_is.name]}",
            *(["  (what the twin was off by where it was measured, it is taken to be off by at each pressure and side; "
               "the simulation below is of the twin)"] if tuning.on_response else [])]


def _row_line(tuning: Tuning, row: Row, indent: str = "") -> str:
    name = f"{indent}{row.name}"
    factor = f"{row.factor:.3g}" if row.factor != 1.0 else ""
    peak = worst_margin(tuning, row, "sensitivity_peak")
    if math.isnan(peak):
        return f"{name:<{NAME_WIDTH}}{factor:>7}   unstable on some fingers"
    k = _worst_finger(row)
    behind = left_behind(tuning.people, tuning.percentile)
    missed = [limit for limit, share in zip(tuning.limits, _missed(row, behind), strict=True) if share > 0.0]
    names = [SHORT.get(limit.figure, limit.figure) for limit in missed]
    verdict = "keeps all limits" if row.kept else f"MISSES {', '.join(names)}"
    return (f"{name:<{NAME_WIDTH}}{factor:>7}{peak:>7.2f}{worst_margin(tuning, row, 'delay_margin_ticks'):>8.1f}"
            f"{worst_margin(tuning, row, 'phase_margin_deg'):>8.1f}{row.rms_mmHg:>8.3f}"
            f"{row.found.pressure_mmHg[k]:>8.3f}{row.found.noise_mmHg[k]:>8.3f}"
            f"{worst_margin(tuning, row, 'command_noise_rms'):>9.3f}"
            f"{worst_margin(tuning, row, 'command_step_sd'):>9.3f}"
            f"  {verdict}")


def _worst_finger(row: Row) -> int:
    """The finger whose error the row tells."""
    rms = row.found.rms_mmHg
    return int(np.argmin(np.abs(rms - row.rms_mmHg))) if math.isfinite(row.rms_mmHg) else int(np.argmax(rms))


def _missed(row: Row, behind: int) -> list[float]:
    """Shortfall of each limit, of the hardest finger that counts."""
    return [float(v) for v in np.sort(row.found.finger_shortfall, axis=0)[-1 - behind]]


def _against(tuning: Tuning) -> list[str]:
    """Tuned against the best rule and the limit."""
    lines = []
    rule, limit, rms = tuning.best_rule, tuning.limit, tuning.tuned.rms_mmHg
    if not tuning.tuned.kept:
        return ["", "NO SETTINGS FOUND that keep every limit; the best that was found is shown"]
    if rule is not None:
        change = 100.0 * (rms / rule.rms_mmHg - 1.0)
        lines.append(f"against the best classical rule within the limits ({rule.name} × {rule.factor:.3g}): "
                     f"{rms:.3f} for {rule.rms_mmHg:.3f} mmHg, {change:+.0f} %")
    elif tuning.published:
        lines.append("no classical rule keeps the limits, whatever its gain")
    lines += ["", "limit of any linear controller on one finger [mmHg rms]       |S| alone  and delay  tuned there"]
    for bound in tuning.bounds:
        tuned = tuning.tuned.found.rms_mmHg[[c.finger.name for c in tuning.people.cases].index(bound.finger)]
        lines.append(f"  {bound.finger}".ljust(58)
                     + f"{bound.rms_mmHg:>11.3f}{bound.delay_bound_mmHg:>11.3f}{tuned:>13.3f}")
    if math.isfinite(limit.rms_mmHg):
        lines.append(f"  no controller gets the worst finger below {limit.rms_mmHg:.3f} mmHg; the tuned one is "
                     f"{100 * (rms / limit.rms_mmHg - 1):.0f} % above that (half the taps: {limit.half_taps_mmHg:.3f})")
    return lines


def _confirmation_lines(tuning: Tuning) -> list[str]:
    """Predicted beside simulated: the fingers that say most, those on which something breaks, and all in one line."""
    found = tuning.confirmations
    if not found:
        return []
    lines = ["", f"nonlinear simulation of {len(found)} fingers, above 0.4 Hz".ljust(55)
             + "predicted simulated  command  by tick"]
    for c in [*(c for c in found if c.why), *[c for c in found if c.broken and not c.why][:MOST_BROKEN]]:
        why = f" ({c.why})" if c.why else ""
        outcome = (f"{c.simulated_mmHg:>10.3f}{c.command_rms:>9.3f}{c.command_step_sd:>9.3f}"
                   if c.status == "done" else f"  the run {c.status}")
        lines.append(f"  {c.finger}{why}".ljust(55) + f"{c.predicted_mmHg:>9.3f}{outcome}"
                     + (f"  {c.broken}" if c.broken and c.status == "done" else ""))
    done = [c for c in found if c.status == "done"]
    if done:
        ratio = np.array([c.simulated_mmHg / c.predicted_mmHg for c in done])
        low, middle, high = np.percentile(ratio, [5.0, 50.0, 95.0])
        lines.append(f"  simulated over predicted: median {middle:.2f}, 90 % of fingers {low:.2f} to {high:.2f}; "
                     f"{np.sum(np.abs(ratio - 1.0) > APART)} of {len(done)} more than {100 * APART:g} % off their own; "
                     f"saturated: {len(found) - len(done)}")
    lines.append("  (predicted with the artery's curve in the loop, which the table leaves out)")
    return [*lines, *_broken_line(tuning)]


def _broken_line(tuning: Tuning) -> list[str]:
    """The verdict of the simulation where it is a bad one."""
    if not tuning.broken:
        return []
    first = max(tuning.broken, key=lambda c: (c.status != "done", abs(c.simulated_mmHg / c.predicted_mmHg - 1.0)))
    return [f"FAIL: on {len(tuning.broken)} of {len(tuning.confirmations)} simulated fingers the simulation does not "
            f"bear the prediction out, first of all {first.finger}: {first.broken}"]


def tuning_json(tuning: Tuning) -> dict[str, Any]:
    """The same as plain data."""
    def row(r: Row) -> dict[str, Any]:
        return {
            "name": r.name, "factor": r.factor, "settings": r.found.controller._asdict(), "rms_mmHg": r.rms_mmHg,
            "finger": tuning.people.cases[_worst_finger(r)].finger.name, "keeps_limits": r.kept,
            "margins": {name: worst_margin(tuning, r, name) for name in r.found.margins},
        }

    rule, limit = tuning.best_rule, tuning.limit
    return {
        "rig": tuning.rig.name, "fingers": len(tuning.people.cases), "group": tuning.group,
        "percentile": tuning.percentile, "slope_error": tuning.slope_error,
        "left_out": [{"finger": name, "reason": reason} for name, reason in tuning.people.left_out],
        "limits": [limit._asdict() for limit in tuning.limits], "passed": tuning.passed,
        "broken": [c.finger for c in tuning.broken],
        "drawn_within": list(tuning.rig.tables.get(SPREAD, {})) if tuning.as_it_is and not tuning.on_response else [],
        "on_response": tuning.on_response,
        "as_it_is": row(tuning.as_it_is) if tuning.as_it_is else None,
        "ultimate": tuning.ultimate._asdict(), "tuned": row(tuning.tuned), "shipped": row(tuning.shipped),
        "rules": [row(r) for r in tuning.published], "rules_scaled": [row(r) for r in tuning.scaled],
        "structures": [row(r) for r in tuning.structures],
        "below_best_rule": 1.0 - tuning.tuned.rms_mmHg / rule.rms_mmHg if rule and tuning.passed else None,
        "limit": {k: v for k, v in limit._asdict().items() if k not in ("omega_rad_s", "sensitivity")},
        "above_limit": tuning.tuned.rms_mmHg / limit.rms_mmHg - 1.0 if tuning.passed else None,
        "trade_off": [point._asdict() for point in tuning.trade_off],
        "confirmations": [c._asdict() for c in tuning.confirmations],
    }


def tuned_rig_text(tuning: Tuning) -> str:
    """A rig file with the settings that were found: what the rig has of its own over the built-in one beneath it."""
    rig = tuning.rig
    name = f"{rig.name[:180]}_tuned"
    about = f"{rig.name[:60]} tuned for {len(tuning.people.cases)} fingers ({tuning.group}, seed {tuning.seed})"
    made = rig._replace(name=name, about=about, controller=tuning.tuned.found.controller)
    lines = [f"# Written by cuffloop tune: what differs from the built-in rig {rig.base}, above all the "
             "controller that was found."]
    if tuning.percentile == 100.0 and tuning.tuned.kept:
        lines += [f"# every finger keeps: {limit.text}" for limit in tuning.limits]
    if not tuning.passed:
        lines.append("# NOT BORNE OUT: see tune.json" if tuning.tuned.kept else "# MISSES LIMITS: see tune.json")
    return "\n".join([*lines, *difference_lines(made), *tables_lines(rig.tables)]) + "\n"
