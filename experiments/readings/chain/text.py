"""Readings of a clamp as lines, as plain data, and as a table by beat."""
from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from experiments.readings.beats.reasons import Reason
from experiments.readings.chain.chain import Readings
from experiments.readings.chain.truth import Truth
from experiments.readings.output.interval import Interval
from experiments.readings.output.variation import Variation
from experiments.work.output import CAUTION, whole_file
from plant.circulation.aorta import aorta_at, usual_aorta

UNITS = {"rate": "1/min", "stroke volume": "mL", "output": "L/min", "cardiac index": "L/min/m²"}
ESTIMATE = ("Estimates from a model fitted on virtual people, who scatter less than people do: no clinical use.",
            "Absolute output is hardly better than a guess; look at change.")
COLUMNS = ("subject", "time_s", "systolic_mmHg", "mean_mmHg", "diastolic_mmHg", "rate_per_min", "stroke_mL",
           "output_L_min", "finger_systolic_mmHg", "finger_diastolic_mmHg", "reasons")


def unit_of(name: str) -> str:
    """Unit of a reading."""
    return UNITS.get(name, "mmHg")


def readings_lines(found: Readings, truth: Truth | None, title: str) -> list[str]:
    """The whole on one screen."""
    beats = found.beats
    lines = [f"{title}: {len(beats.onset_s)} beats, {int(np.count_nonzero(beats.counts))} count"
             + _reason_counts(found), "",
             f"{'reading':<20}{'value':>9}  {'90 % interval':<21}{'change ±':>9}" + ("   truth" if truth else "")]
    lines += [_line(name, one, truth) for name, one in found.summary.items()]
    null = found.null_output_L_min
    told = f", off by {100 * (null / truth.values['output'] - 1):+.0f} %" if truth else ""
    lines += [f"{'null: a constant':<20}{null:>9.2f} L/min for everybody{told}", ""]
    estimator = found.known.estimator
    referenced = math.isfinite(found.known.reference_mL)
    basis = "with a reference" if referenced else "by age, sex, height and weight"
    r = found.resistance
    lines.append(f"stroke volume by {estimator}, {basis}")
    lines.append(f"resistance {r.dyn_s_cm5:.0f} dyn s/cm⁵ = {r.MPa_s_m3:.1f} MPa s/m³, ± {100 * r.relative_sd:.0f} % "
                 f"(SD), with a venous pressure of {found.known.venous_mmHg:g} ± {found.known.venous_sd_mmHg:g} mmHg")
    lines += [_arm_line(found), _aorta_line(found)]
    lines += [_variation_line("pulse", found.pulse_variation), _variation_line("stroke volume", found.stroke_variation)]
    lines += ["", f"{'level, by cause':<20}{'adds':>9}{'SD':>9}  mmHg"]
    lines += [f"  {line.name:<18}{line.value_mmHg + 0.0:>+9.2f}{line.sd_mmHg:>9.2f}" for line in found.level.lines]
    lines.append(f"  {'together':<18}{found.level.value_mmHg:>+9.2f}{found.level.sd_mmHg:>9.2f}")
    return [*lines, "", *ESTIMATE, CAUTION]


def _arm_line(found: Readings) -> str:
    """By which way, and what cuff readings have made of it."""
    line = f"upper arm by {'a law, its wave by a filter' if found.known.arm == 'law' else 'a tube with a load'}"
    reference = found.reference
    if reference is None:
        return f"{line}; no cuff reading"
    count = len(found.known.cuff)
    return (f"{line}; {count} cuff reading{'s' if count > 1 else ''}: shift {reference.shift_mmHg:+.1f} mmHg, gain "
            f"{reference.gain:.2f}")


def _aorta_line(found: Readings) -> str:
    """What the arctangent law expects of the aorta."""
    wearer, mean = found.known.wearer, found.summary["mean"].value
    one = aorta_at(usual_aorta(wearer.age_years, wearer.female >= 0.5), mean)
    return (f"usual aorta of that age and sex at {mean:.0f} mmHg: {one.area_cm2:.1f} cm², compliance "
            f"{1e3 * one.compliance_cm2_mmHg:.1f} µL/mmHg per cm, {one.impedance_mmHg_s_mL:.3f} mmHg s/mL, "
            f"{one.velocity_m_s:.1f} m/s")


def _reason_counts(found: Readings) -> str:
    """How many beats do not count, by reason."""
    told = []
    for reason in Reason:
        count = int(np.count_nonzero(found.beats.reasons & int(reason)))
        if count and reason:
            told.append(f"{reason.words} {count}")
    return f" (not: {', '.join(told)})" if told else ""


def _line(name: str, one: Interval, truth: Truth | None) -> str:
    unit, digits = unit_of(name), 2 if name in ("output", "cardiac index") else 1
    change = f"{100 * one.change_sd * 1.645:.1f} %" if one.relative else f"{1.645 * one.change_sd:.1f}"
    ends = f"{one.low:.{digits}f} … {one.high:.{digits}f} {unit}"
    line = f"{name:<20}{one.value:>9.{digits}f}  {ends:<21}{change:>9}"
    if truth is None or name not in truth.values:
        return line
    true = truth.values[name]
    return f"{line}{true:>8.{digits}f}{'' if one.holds(true) else '  outside'}"


def _variation_line(name: str, one: Variation) -> str:
    if math.isnan(one.fit_percent):
        return f"variation of {name}: none, {one.reason}"
    reason = f"; NOT VALID: {one.reason}" if one.reason else ""
    return (f"variation of {name}: {one.fit_percent:.1f} ± {one.sd_percent:.1f} % (peak to trough "
            f"{one.peak_percent:.1f} %, noise alone {one.floor_percent:.1f} %){reason}")


def readings_json(found: Readings, truth: Truth | None) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "beats": len(found.beats.onset_s), "beats_counted": int(np.count_nonzero(found.beats.counts)),
        "readings": {name: {
            "value": one.value, "unit": unit_of(name), "low": one.low, "high": one.high, "change_sd": one.change_sd,
            "relative": one.relative, "parts": [part._asdict() for part in one.parts],
            "truth": None if truth is None else truth.values.get(name)} for name, one in found.summary.items()},
        "null_output_L_min": found.null_output_L_min, "estimator": found.known.estimator,
        "pulse_variation": found.pulse_variation._asdict(), "stroke_variation": found.stroke_variation._asdict(),
        "arm": found.known.arm, "cuff_readings": len(found.known.cuff),
        "cuff_reference": None if found.reference is None else found.reference._asdict(),
        "resistance": found.resistance._asdict(), "level": [line._asdict() for line in found.level.lines],
        "note": " ".join(ESTIMATE),
    }


def beat_rows(found: Readings, subject: str) -> list[str]:
    """CSV lines, one a beat, with a header; values that are not there are empty."""
    beats = found.beats
    rows = [",".join(COLUMNS)]
    for k in range(len(beats.onset_s)):
        numbers = (beats.onset_s[k], *found.arm_mmHg[k], 60.0 / beats.interval_s[k], found.stroke_mL[k],
                   found.output_L_min[k], beats.systolic_mmHg[k], beats.diastolic_mmHg[k])
        cells = ["" if math.isnan(number) else f"{number:.6g}" for number in map(float, numbers)]
        rows.append(",".join([subject, *cells, Reason(int(beats.reasons[k])).words.replace(", ", " + ")]))
    return rows


def write_beats(path: Path, found: Readings, subject: str) -> None:
    """The table by beat as a CSV file."""
    with whole_file(path) as waiting:
        waiting.write_text("\n".join(beat_rows(found, subject)) + "\n", encoding="utf-8")
