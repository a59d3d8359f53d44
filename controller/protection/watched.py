"""What the protection looks at on one tick, its noise as pressure, and timers and lags to make sure with."""
from __future__ import annotations

from typing import NamedTuple

from plant.declare import Unsigned, inlined
from plant.numerics.vector import choose

MOST_TICKS = 2**32 - 1  # where a timer stops


class Watched(NamedTuple):
    """Everything that firmware knows on one tick."""

    period_s: float
    mode: int  # FILL, CLAMP or VENT, as carried out
    clamped_ticks: Unsigned  # since the clamp began; 0 outside it
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
    settings: Unsigned  # check sum of the control law that is loaded
    searched: bool  # the set point bears the mark of a finished search
    denied: bool  # the confirmation of the set point in force has come to its end, and denies it
    emitter: float  # its light by the monitor beside it, share of nominal
    converter_error: float  # of both converters on their references, share of full scale


@inlined
def noise_mmHg(seen: Watched) -> float:
    """Noise of a sample of light as pressure [mmHg]: the weaker the finger's slope, the more the loop carries of it."""
    return seen.light_noise / max(abs(seen.light_slope), 1e-12)


@inlined
def timer(ticks: Unsigned, condition: bool) -> Unsigned:
    """Ticks for which a condition has held without a break; at its end it stays there (49.7 days at 1 kHz)."""
    later: int = choose(condition, choose(ticks < MOST_TICKS, ticks + 1, ticks), 0)
    return later


@inlined
def reached(ticks: Unsigned, time_s: float, period_s: float) -> bool:
    """Whether so many ticks come to a time [s], to the nearest tick: whatever the arithmetic makes of their product."""
    return (ticks + 0.5) * period_s > time_s


@inlined
def lasted(ticks: Unsigned, time_s: float, period_s: float) -> bool:
    """Whether something that holds now has held for a time [s]; 0 is its first tick."""
    return (ticks > 0) & reached(ticks, time_s, period_s)


@inlined
def lagged(value: float, target: float, memory_s: float, period_s: float) -> float:
    """First-order lag, one implicit Euler step: as a small processor does it, without an exponential."""
    return value + (target - value) * (period_s / (memory_s + period_s))


class Slow(NamedTuple):
    """State of a lag with a long memory: its value, and what of the last steps was too small for it to show."""

    value: float
    rest: float


@inlined
def slow_lag(state: Slow, target: float, memory_s: float, period_s: float) -> Slow:
    """The same lag with a state twice as wide, which no memory makes stall (compensated sum; Kahan 1965).

    A step below half a unit of the value's last digit is lost to `lagged`: in single precision 60 s at 1 kHz end 0.2 %
    short of their target.
    """
    step = (target - state.value) * (period_s / (memory_s + period_s)) + state.rest
    value = state.value + step
    return Slow(value, step - (value - state.value))
