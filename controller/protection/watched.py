"""What the protection looks at on one tick, its noise as pressure, and a timer and a lag to make sure with."""
from __future__ import annotations

from typing import NamedTuple

from plant.declare import inlined
from plant.numerics.vector import choose


class Watched(NamedTuple):
    """Everything that firmware knows on one tick."""

    period_s: float
    mode: int  # FILL, CLAMP or VENT, as carried out
    clamped_s: float  # time since the clamp began; 0 outside it
    reading_mmHg: float  # main transducer
    second_mmHg: float  # transducer of the over-pressure switch
    supply_mmHg: float  # gauge on the reservoir
    pump_mL_s: float  # flow that the regulator asks of the pump, ANR
    light: float  # fraction of full scale
    set_point: float  # ordered, fraction of full scale
    light_slope: float  # light per mmHg of cuff pressure
    light_noise: float  # standard deviation of a sample of light as the rig was built, share of full scale
    error_mmHg: float  # of the clamp, through that slope
    command: float  # valve command of the tick before
    demand: float  # demand that this command meets
    limited: bool  # whether a limit acted on it
    missed: float  # ticks that did not run since the last one, and late or doubled ones
    tripped: bool  # over-pressure switch or watchdog have acted: their line is read back
    settings: float  # check sum of the control law that is loaded
    searched: bool  # the set point bears the mark of a finished search
    denied: bool  # the confirmation of the set point in force has come to its end, and denies it
    emitter: float  # its light by the monitor beside it, share of nominal
    converter_error: float  # of both converters on their references, share of full scale


@inlined
def noise_mmHg(seen: Watched) -> float:
    """Noise of a sample of light as pressure [mmHg]: the weaker the finger's slope, the more the loop carries of it."""
    return seen.light_noise / max(abs(seen.light_slope), 1e-12)


@inlined
def timer(elapsed_s: float, condition: bool, period_s: float) -> float:
    """Time [s] for which a condition has held without a break."""
    later: float = choose(condition, elapsed_s + period_s, 0.0)
    return later


@inlined
def lagged(value: float, target: float, memory_s: float, period_s: float) -> float:
    """First-order lag, one implicit Euler step: as a small processor does it, without an exponential."""
    return value + (target - value) * (period_s / (memory_s + period_s))
