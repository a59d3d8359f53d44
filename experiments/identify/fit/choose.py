"""Which numbers are looked for, and which one is held.

Pressure and command alone tell only ratios of flow to volume. So one volume, or one flow, is measured otherwise and
held; what it is wrong by, all flows and volumes are.
"""
from __future__ import annotations

from collections.abc import Sequence

from experiments.identify.replay.candidates import DEAD_TIME, Free, free_of, value_of
from experiments.rigs.rig import Rig
from plant.errors import InputError
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import Tube

ANCHOR = "cuff.volume_mL"
ASSUMED_SHARE = 0.02  # standard uncertainty of a cuff volume that nobody has told of: invented
SCALES = (
    "cuff.volume_mL", "cuff.growth_mL", "tube.valve_volume_mL", "supply.volume_mL", "valve.conductance",
    "valve.bleed_conductance", "valve.flow_limit_mL_s", "valve.outlet_resistance_mmHg_s_mL", "supply.pump_flow_mL_s",
    "cuff.leak_mL_s_mmHg", "supply.regulator_mL_s_mmHg",
)
FLOW = ("natural_frequency_Hz", "damping_ratio", "dead_band", "conductance", "critical_ratio", "bleed_conductance")
PRESSURE = ("natural_frequency_Hz", "damping_ratio", "range_mmHg", "outlet_resistance_mmHg_s_mL")
ZERO_MEANS_ABSENT = ("valve.dead_band", "valve.bleed_conductance", "cuff.growth_mL", "cuff.leak_mL_s_mmHg")
SUPPLY = ("supply.volume_mL", "supply.pump_flow_mL_s")
USUAL = ("valve", "tube", "cuff", "transducer", "timing")


def names_for(rig: Rig, parts: Sequence[str]) -> list[str]:
    """Dotted names that a list of parts, or of names, stands for. Raises InputError for one that is neither."""
    found: list[str] = []
    for part in parts:
        if "." in part:
            found.append(free_of(rig, part).name)
        elif part == "valve":
            keys = FLOW if isinstance(rig.plant.valve, FlowValve) else \
                PRESSURE if isinstance(rig.plant.valve, PressureValve) else ()
            if not keys:
                raise InputError(f"--free valve: {type(rig.plant.valve).__name__} is a valve of your own; name its "
                                 "numbers one by one, as in valve.gain")
            found += [f"valve.{key}" for key in keys]
        elif part == "tube":
            found += ["tube.diameter_mm"] if isinstance(rig.plant.tube, Tube) else []
        elif part == "cuff":
            found += ["cuff.growth_mL"]
        elif part == "transducer":
            found += ["transducer.bandwidth_Hz"]
        elif part == "supply":
            found += list(SUPPLY)
        elif part == "timing":
            found += [DEAD_TIME]
        else:
            raise InputError(f"--free {part}: use some of {', '.join((*USUAL, 'supply'))}, or names as in "
                             "tube.diameter_mm")
    return [name for name in dict.fromkeys(found) if not (name in ZERO_MEANS_ABSENT and value_of(rig, name) == 0.0
                                                          and name not in parts)]


def free_for(rig: Rig, parts: Sequence[str], held: Sequence[str] = ()) -> tuple[Free, ...]:
    """The numbers that are looked for; what is held is left out."""
    return tuple(free_of(rig, name) for name in names_for(rig, parts) if name not in held)
