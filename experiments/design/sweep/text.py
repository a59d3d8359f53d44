"""What people and programs read of a sweep."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.design.sweep.study import Study
from experiments.design.sweep.verdict import (
    Limit,
    best,
    binding,
    binding_counts,
    goal,
    keeps,
    rerun,
    settings_of,
    value_word,
    worst_fingers,
)

MOST_ROWS = 25  # of points, each printed
MOST_VALUES = 20_000  # of points, in JSON
SHOWN = {
    "gain_margin_dB": "dB", "phase_margin_deg": "°", "delay_margin_ticks": "ticks", "sensitivity_peak": "",
    "crossover_Hz": "Hz", "command_step_sd": "of full", "predicted_rms_mmHg": "mmHg", "rms_error_mmHg": "mmHg",
    "beat_systolic_mean_mmHg": "mmHg", "cuff_mmHg": "mmHg",
}
HEADS = {
    "gain_margin_dB": "gain", "phase_margin_deg": "phase", "delay_margin_ticks": "delay", "sensitivity_peak": "Ms",
    "crossover_Hz": "crossover", "command_step_sd": "by tick", "predicted_rms_mmHg": "pulse rms",
    "rms_error_mmHg": "rms", "beat_systolic_mean_mmHg": "systolic", "cuff_mmHg": "highest",
}


def study_lines(found: Study, limits: list[Limit], options: list[str]) -> list[str]:
    """The sweep on one screen: every point of a short one, the present, the best, and what could not be had."""
    shown = [name for name in SHOWN if name in found.case.figures]
    kept, at = keeps(found, limits), best(found, limits)
    lines = [f"sweep of {found.case.source.tables.get('name', '')}: {_size(found)}{_people(found)}", ""]
    width = max(8, *(len(label) for label in _labels(found))) + 2
    lines.append(" " * width + "".join(f"{HEADS[name]:>11}" for name in shown))
    lines.append(" " * width + "".join(f"{SHOWN[name]:>11}" for name in shown))
    if found.present is not None:
        lines.append(f"{'as it is':<{width}}" + _cells(found, shown, None))
    if len(found.points) <= MOST_ROWS:
        for i, label in enumerate(_labels(found)):
            lines.append(f"{label:<{width}}{_cells(found, shown, i)}{_verdict(found, limits, i, bool(kept[i]))}"
                         f"{'  < best' if i == at else ''}")
    elif at is not None:
        lines.append(f"{'best':<{width}}{_cells(found, shown, at)}")
    lines += ["", _kept_line(found, limits, kept)]
    if limits and not np.all(kept):
        counts = [f"{word} at {count}" for word, count in binding_counts(found, limits).items()]
        lines.append(f"what is missed most at the others: {', '.join(counts)}")
    if at is not None:
        lines.append(f"best of them, by {found.case.figures[goal(found)].what}: {' '.join(settings_of(found, at))}")
    lines += _trouble(found)
    if found.fingers:
        where = at if at is not None else int(np.nanargmax(found.worst("signed_modulus_margin")))
        place = "there" if at is not None else "at the least bad point"
        lines += ["", f"worst figures {place}, each by its finger alone:"]
        for finger, names in worst_fingers(found, where, shown).items():
            told = ", ".join(f"{HEADS[n]} {found.worst(n)[where]:.3g} {SHOWN[n]}".rstrip() for n in names)
            lines += [f"  {finger}: {told}", f"    {rerun(found, where, options, finger)}"]
    return lines


def _verdict(found: Study, limits: list[Limit], point: int, kept: bool) -> str:
    """Whether a point keeps all limits; else what it misses most."""
    if kept:
        return "  keeps all"
    word = "" if math.isnan(found.worst("stable")[point]) else binding(found, limits, point)
    return f"  misses {word}" if word and word != "stability" else ""


def _size(found: Study) -> str:
    if found.sampled:
        return f"{len(found.points)} sampled points of {len(found.axes)} axes"
    return " × ".join(f"{len(axis.values)} {axis.name}" for axis in found.axes)


def _people(found: Study) -> str:
    return f", worst of {len(found.fingers)} fingers at each" if found.fingers else ""


def _labels(found: Study) -> list[str]:
    """A short name of each point, where the points are few."""
    if len(found.points) > MOST_ROWS:
        return ["best"]
    return [" ".join(_short(value) for value in point) for point in found.points]


def _short(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else value_word(value)


def _cells(found: Study, shown: list[str], point: int | None) -> str:
    def value(name: str) -> float:
        return found.present_worst(name) if point is None else float(found.worst(name)[point])

    stable = value("stable")
    if math.isnan(stable):
        return "  cannot be had"
    if stable == 0.0:
        return "  unstable" + "".join(f"{value(name):>11.3g}" for name in shown if name == "rms_error_mmHg")
    return "".join(f"{value(name):>11.3g}" for name in shown)


def _kept_line(found: Study, limits: list[Limit], kept: Any) -> str:
    who = f"all {len(found.fingers)} fingers keep" if found.fingers else "the rig keeps"
    if not limits:
        return f"at {np.sum(kept)} of {len(kept)} points it is stable; no limits were given"
    return f"at {np.sum(kept)} of {len(kept)} points {who} {', '.join(limit.text for limit in limits)}"


def _trouble(found: Study) -> list[str]:
    """What could not be had, and why."""
    lines = []
    stable = found.worst("stable")
    if np.any(stable == 0.0):
        lines.append(f"unstable{' for a finger or more' if found.fingers else ''} at {np.sum(stable == 0.0)} points")
    if found.left_out:
        more = "" if len(found.left_out) == 1 else f" and {len(found.left_out) - 1} more"
        lines.append(f"left out, as nowhere to be had: finger {found.left_out[0]}{more}")
    for reason, count in list(found.reasons.items())[:3]:
        lines.append(f"not to be had {count} times: {reason}")
    if len(found.reasons) > 3:
        lines.append(f"and for {len(found.reasons) - 3} more reasons")
    return lines


def study_json(found: Study, limits: list[Limit], options: list[str]) -> dict[str, Any]:
    """The sweep as plain data; of more than twenty thousand points the NetCDF file has the figures."""
    at = best(found, limits)
    kept = keeps(found, limits)
    document: dict[str, Any] = {
        "rig": found.case.source.tables.get("name", ""), "tables": found.case.source.tables,
        "axes": {axis.name: {"unit": axis.unit, "meaning": axis.meaning, "values": list(axis.values),
                             "present": axis.present} for axis in found.axes},
        "sampled": found.sampled, "shape": found.shape, "fingers": [finger.name for finger in found.fingers],
        "simulated": found.case.simulated, "record": found.case.trace.name if found.case.trace else None,
        "figures": {name: figure._asdict() for name, figure in found.case.figures.items()},
        "limits": [limit.text for limit in limits], "missed_most": binding_counts(found, limits),
        "points_that_keep_all": int(np.sum(kept)),
        "present": {name: found.present_worst(name) for name in found.case.figures},
        "best": None if at is None else {
            "settings": settings_of(found, at), **{name: float(found.worst(name)[at]) for name in found.case.figures},
            "run_worst_finger": rerun(found, at, options) if found.fingers else None,
            "worst_fingers": worst_fingers(found, at, list(found.case.figures)) if found.fingers else None,
            "binds": binding(found, limits, at),
        },
        "not_to_be_had": found.reasons, "left_out": list(found.left_out),
    }
    if len(found.points) <= MOST_VALUES:
        document["points"] = [list(point) for point in found.points]
        document["worst"] = {name: found.worst(name) for name in found.case.figures}
        document["keeps_limits"] = kept
        if found.fingers:
            document["worst_finger"] = [found.fingers[i].name for i in found.worst_finger()]
    return document
