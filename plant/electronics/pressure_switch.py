"""Independent over-pressure switch: its own transducer, its own comparator, its own latch; no firmware in it.

    dm/dt = 2πf (p − m),  stepped exactly from tick to tick;  trips when m stays above its limit for the hold time
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity, switch
from plant.numerics.integrate import selected
from plant.numerics.vector import choose


class PressureSwitch(NamedTuple):
    """Over-pressure switch. Firmware may read its transducer too, to compare it with the main one."""

    enabled: Annotated[bool, switch("fitted and wired to the dump valve", "scenario")] = True
    at_cuff: Annotated[bool, switch("senses in the cuff, not at the valve end of the line", "invented")] = False
    limit_mmHg: Annotated[float, quantity("mmHg", 20, 3000, "pressure that trips it", "invented")] = 285.0
    hold_s: Annotated[float, quantity("s", 0, 10, "time above the limit before it trips", "invented")] = 0.01
    bandwidth_Hz: Annotated[float, quantity("Hz", 1, 5000, "-3 dB bandwidth of its transducer", "invented")] = 150.0
    noise_mmHg: Annotated[float, quantity("mmHg", 0, 10, "SD of white noise in its reading", "invented")] = 0.05


class SwitchState(NamedTuple):
    """What the switch remembers: its transducer's output [mmHg], time above the limit [s], whether it has tripped."""

    sensed_mmHg: float
    above_s: float
    tripped: bool


@compiled
def switch_step(
    part: PressureSwitch, state: SwitchState, pressure_mmHg: float, gain: float, offset_mmHg: float, powered: bool,
    period_s: float,
) -> SwitchState:
    """State after a tick at a pressure [mmHg]; gain and offset are errors of its own transducer (1 and 0 when well).

    Without power it neither senses nor remembers.
    """
    keep = math.exp(-2.0 * math.pi * part.bandwidth_Hz * period_s)
    target = gain * pressure_mmHg + offset_mmHg
    sensed = target + (state.sensed_mmHg - target) * keep
    above = choose(sensed > part.limit_mmHg, state.above_s + period_s, 0.0)
    tripped = state.tripped | (part.enabled & (above > part.hold_s))
    new: SwitchState = selected(powered, SwitchState(sensed, above, tripped), SwitchState(0.0, 0.0, False))
    return new


def idle_switch() -> SwitchState:
    """At ambient pressure, not tripped."""
    return SwitchState(0.0, 0.0, False)
