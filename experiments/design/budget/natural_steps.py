"""The step of a parameter that an engineer would take, and what it is called: ten centimetres of tube, one bit less.

Each is the change for the worse where there is one. The sizes are invented: what one would find in a data sheet's
tolerance or in the next part of a series.
"""
from __future__ import annotations

from typing import Any, NamedTuple

from plant.declare import Declared


class NaturalStep(NamedTuple):
    """A changed value, and the change in words."""

    value: Any
    words: str


MORE, LESS = 1.1, 0.9
ADDED: dict[tuple[str, str], tuple[float, str]] = {  # what is added
    ("tube", "length_m"): (0.1, "10 cm more tube"),
    ("tube", "valve_volume_mL"): (0.1, "0.1 mL more air at the valve"),
    ("timing", "dead_time_s"): (2e-4, "0.2 ms more dead time"),
    ("tissue", "lag_s"): (2e-4, "0.2 ms more lag of the tissue"),
    ("valve", "dead_band"): (0.005, "half a percent more dead band"),
    ("valve", "bleed_conductance"): (0.001, "0.001 dm³/(s·bar) more bleed"),
    ("light", "bits"): (-1, "one bit less for the light"),
    ("transducer", "bits"): (-1, "one bit less for the pressure"),
    ("controller", "output_bits"): (-1, "one bit less for the command"),
    ("air", "atmosphere_mmHg"): (-60.0, "700 m higher up (60 mmHg less air)"),
    ("air", "temperature_K"): (10.0, "10 K warmer air"),
    ("tone", "level"): (0.5, "half a unit more tone"),
    ("artery", "unloaded_mmHg"): (5.0, "5 mmHg more unloaded pressure"),
    ("transducer", "offset_mmHg"): (5.0, "5 mmHg offset of the transducer"),
}
TIMES: dict[tuple[str, str], tuple[float, str]] = {  # what is multiplied
    ("tube", "diameter_mm"): (LESS, "a 10 % narrower tube"),
    ("tube", "loss_factor"): (MORE, "10 % more loss in the tube"),
    ("tube", "inertance_factor"): (MORE, "10 % more inertance of the tube"),
    ("valve", "natural_frequency_Hz"): (LESS, "a 10 % slower valve"),
    ("valve", "damping_ratio"): (LESS, "a 10 % less damped valve"),
    ("valve", "conductance"): (MORE, "a 10 % larger valve"),
    ("valve", "outlet_resistance_mmHg_s_mL"): (MORE, "10 % more resistance of the valve"),
    ("valve", "range_mmHg"): (MORE, "10 % more range of the valve"),
    ("supply", "pressure_mmHg"): (MORE, "10 % more supply pressure"),
    ("supply", "volume_mL"): (LESS, "a 10 % smaller reservoir"),
    ("cuff", "volume_mL"): (LESS, "10 % less air in the bladder"),
    ("cuff", "growth_mL"): (MORE, "a bladder that grows 10 % more"),
    ("cuff", "half_growth_mmHg"): (LESS, "a bladder that grows 10 % earlier"),
    ("cuff", "gap_mm"): (LESS, "a bladder 10 % thinner, whose air exchanges more heat"),
    ("segment", "length_mm"): (MORE, "a cuff that compresses 10 % more length"),
    ("segment", "outer_speed_m_s"): (MORE, "10 % more wave speed outside the cuff"),
    ("segment", "diameter_mm"): (MORE, "a 10 % wider artery"),
    ("artery", "fast_fraction"): (MORE, "a wall that yields 10 % more at once"),
    ("artery", "half_width_mmHg"): (MORE, "a 10 % stiffer artery"),
    ("light", "bandwidth_Hz"): (LESS, "a 10 % slower photodiode filter"),
    ("light", "noise"): (2.0, "twice the noise of the light"),
    ("light", "emitter"): (0.5, "half the light"),
    ("transducer", "bandwidth_Hz"): (LESS, "a 10 % slower transducer"),
    ("transducer", "gain"): (1.02, "2 % gain error of the transducer"),
    ("transducer", "noise_mmHg"): (2.0, "twice the noise of the pressure"),
    ("tissue", "transmission"): (0.95, "a looser fit, passing 5 % less"),
    ("timing", "period_s"): (MORE, "a 10 % longer tick"),
    ("controller", "kp"): (MORE, "10 % more gain"),
    ("controller", "ti_s"): (LESS, "a 10 % shorter integral time"),
    ("controller", "td_s"): (LESS, "a 10 % shorter derivative time"),
    ("controller", "filter_ratio"): (LESS, "a 10 % slower derivative filter"),
    ("controller", "lead_zero_Hz"): (MORE, "a lead that begins 10 % higher"),
    ("controller", "lead_pole_Hz"): (LESS, "a lead that ends 10 % lower"),
    ("actuator", "full_flow_mL_s"): (MORE, "10 % more flow per demand"),
    ("actuator", "conductance"): (LESS, "a valve 10 % larger than the firmware believes"),
    ("actuator", "supply_mmHg"): (LESS, "a supply 10 % stronger than the firmware believes"),
    ("actuator", "critical_ratio"): (MORE, "a critical ratio 10 % less than the firmware believes"),
    ("actuator", "atmosphere_mmHg"): (1.08, "700 m higher up than the firmware believes"),
    ("valve", "critical_ratio"): (MORE, "10 % more critical ratio of the valve"),
    ("air", "polytropic_exponent"): (MORE, "air that heats more (exponent + 10 %)"),
    ("actuator", "gain"): (MORE, "10 % more command per demand"),
}


def natural_step(table: str, parameter: Declared, value: Any) -> NaturalStep | None:
    """The natural step from a value, inside its bounds; None where there is none (a choice, a zero, a single value)."""
    low, high = parameter.low, parameter.high
    if low is None or high is None or isinstance(value, (bool, str)) or low == high:
        return None
    key = table, parameter.name
    if key in ADDED:
        amount, words = ADDED[key]
        changed = value + amount
    elif value == 0:
        return None  # a part that is not there
    elif key in TIMES:
        factor, words = TIMES[key]
        changed = value * factor
    else:
        changed, words = value * MORE, f"10 % more {table}.{parameter.name}"
    if parameter.kind is int:
        changed = round(changed)
    if not low <= changed <= high or changed == value or (parameter.kind is int and value == 0):
        return None
    return NaturalStep(changed, words)
