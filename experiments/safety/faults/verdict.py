"""Limits for failures, read from a requirements file, and which of them a run breaks."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.rigs.rig import BUILT_IN, read_toml
from plant.declare import quantity
from plant.errors import InputError
from plant.messages import one_line
from plant.validate import validated

DEFAULT = BUILT_IN / "fault_requirements.toml"
CAUTION = (
    "Limits by analogy with IEC 80601-2-30 (from memory), whose scope is intermittent cuffs; a continuous finger cuff "
    "differs, and you must decide what is safe."
)


class FaultLimits(NamedTuple):
    """What must hold in a single-fault condition."""

    normal_mmHg: Annotated[
        float, quantity("mmHg", 50, 1000, "highest pressure in normal use", "IEC 80601-2-30, from memory")
    ] = 300.0
    above_normal_s: Annotated[float, quantity("s", 0, 600, "longest time above it", "invented")] = 15.0
    fault_mmHg: Annotated[
        float, quantity("mmHg", 50, 1000, "highest pressure in a single-fault condition", "IEC 80601-2-30, from memory")
    ] = 330.0
    vent_mmHg: Annotated[
        float, quantity("mmHg", 15, 20, "an emptied cuff: 15 or 20", "IEC 80601-2-30, from memory")
    ] = 15.0
    vent_s: Annotated[float, quantity("s", 0.01, 600, "time to empty it", "OIML R 16-2, from memory")] = 10.0
    skin_degC: Annotated[
        float, quantity("°C", 37, 60, "hottest skin under the emitter", "IEC 60601-1, long contact, from memory")
    ] = 43.0
    wrong_mmHg: Annotated[float, quantity("mmHg", 0.1, 200, "mean distance of a wrong reading", "by intention")] = 10.0
    right_mmHg: Annotated[
        float, quantity("mmHg", 0.1, 200, "mean distance of a right one", "ISO 81060-2's mean error, from memory")
    ] = 5.0
    wrong_s: Annotated[float, quantity("s", 0.1, 600, "longest such time without warning", "by intention")] = 30.0
    detect_s: Annotated[float, quantity("s", 0.01, 600, "time by which to detect", "by intention")] = 5.0


def load_fault_limits(path: Path | None) -> FaultLimits:
    """Limits from a file's [limits] table; the shipped ones without a file. Raises InputError."""
    place = path or DEFAULT
    table = read_toml(place)
    for key in table:
        if key != "limits":
            raise InputError(f"{place}: [{one_line(key, 60)}] is not a table of fault requirements; use [limits]")
    if not isinstance(table.get("limits"), dict):
        raise InputError(f"{place}: a table [limits] is missing")
    found: FaultLimits = validated(FaultLimits, table["limits"], str(place), "limits")
    if found.vent_mmHg not in (15.0, 20.0):
        raise InputError(f"{place}: limits.vent_mmHg = {found.vent_mmHg:g} must be 15 or 20")
    return found


def broken(
    limits: FaultLimits, figures: dict[str, NDArray[np.float64]], physiology: NDArray[np.bool_], after_s: float,
    to_empty: NDArray[np.bool_] | None = None,
) -> NDArray[np.bool_]:
    """Which runs break which limits, shape (runs, BREAKS).

    `to_empty` marks runs in which the cuff had to be emptied; it breaks that limit when it never was. A cuff that began
    to vent too late for the run to show its end is given the benefit of the doubt. An alarm is false when nothing has
    failed and what was shown until then was right.
    """
    start = figures["vent_start_s"]
    below = figures["below_15_s" if limits.vent_mmHg == 15.0 else "below_20_s"]
    judged = (start >= 0.0) & (start <= after_s - limits.vent_s)
    right = figures["wrong_at_alarm_mmHg"] <= limits.right_mmHg
    late = judged & ((below < 0.0) | (below > limits.vent_s))
    if to_empty is not None:
        late |= to_empty & (figures["lowest_mmHg"] > limits.vent_mmHg)
    return np.stack([
        figures["highest_mmHg"] > limits.fault_mmHg,
        figures["above_normal_s"] > limits.above_normal_s, late, figures["skin_degC"] > limits.skin_degC,
        (figures["wrong_longest_s"] > limits.wrong_s) & ~physiology,
        physiology & (figures["detected_s"] >= 0.0) & right,
    ], axis=1)
