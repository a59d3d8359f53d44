"""Pressure transducer: what the electronics believe the pressure is, at either end of the line.

First-order lag, then gain and offset error:  dm/dt = 2πf (g p + b − m).
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity, switch
from plant.linear import Linear, linear


class Transducer(NamedTuple):
    """A pressure transducer, its amplifier and its converter."""

    at_valve_end: Annotated[bool, switch("at the valve end of the line, not in the cuff", "invented")] = False
    bandwidth_Hz: Annotated[float, quantity("Hz", 1, 5000, "-3 dB bandwidth", "common practice")] = 250.0
    gain: Annotated[float, quantity("1", 0.5, 1.5, "reading per true pressure", "ideal")] = 1.0
    offset_mmHg: Annotated[float, quantity("mmHg", -50, 50, "reading at zero pressure", "ideal")] = 0.0
    drift_mmHg_h: Annotated[float, quantity("mmHg/h", -50, 50, "steady drift of the offset", "ideal")] = 0.0
    noise_mmHg: Annotated[float, quantity("mmHg", 0, 10, "SD of white noise in a sample", "invented")] = 0.02
    full_scale_mmHg: Annotated[float, quantity("mmHg", 50, 2000, "highest reading", "common practice")] = 400.0
    bits: Annotated[int, quantity("1", 0, 24, "converter bits, 0 for no steps", "common practice")] = 16


@compiled
def transducer_rate(transducer: Transducer, reading_mmHg: float, pressure_mmHg: float) -> float:
    """Rate of the reading [mmHg/s] at a true pressure [mmHg]."""
    target = transducer.gain * pressure_mmHg + transducer.offset_mmHg
    return 2.0 * math.pi * transducer.bandwidth_Hz * (target - reading_mmHg)


@compiled
def sensed_pressure(transducer: Transducer, node_mmHg: float, cuff_mmHg: float) -> float:
    """The pressure at the transducer's place: valve end or cuff [mmHg]."""
    return node_mmHg if transducer.at_valve_end else cuff_mmHg


def linear_twin(transducer: Transducer) -> Linear:
    """Twin from the pressure at its place to `reading`, both in mmHg, about any operating point."""
    omega = 2.0 * math.pi * transducer.bandwidth_Hz
    place = "node_pressure" if transducer.at_valve_end else "cuff_pressure"
    return linear(-omega, omega * transducer.gain, 1.0, 0.0, place, "reading", "reading")
