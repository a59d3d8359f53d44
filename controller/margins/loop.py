"""The loop of a rig at an operating point: sampled plant and controller put together, and judged.

Its controller is the very `Coefficients` that the simulation runs; its plant is the exact sampled twin of one side of
the valve. What it tells: margins, closed-loop poles, exact delay margin, and the phase budget at crossover.
"""
from __future__ import annotations

from typing import NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from controller.margins.margins import Margins, OpenLoop, margins
from controller.margins.sampled import Discrete, SampledPlant, augmented, sample, sampled_plant
from controller.tick.inverse import Direct, FlowInverse, stage_slopes
from controller.tick.law import Coefficients, controller_linear
from controller.tick.timing import Timing
from plant.assembly import Plant
from plant.operating_point import OperatingPoint, plant_twin
from plant.parts import valve_nature
from plant.pneumatics.flow_valve import Side

Complex = NDArray[np.complex128]


class Loop(NamedTuple):
    """One side of one rig at one operating point."""

    plant: Plant
    point: OperatingPoint
    side: Side
    timing: Timing
    stage: Direct | FlowInverse
    coefficients: Coefficients
    discrete: Discrete
    by_demand: float  # slopes of the actuator stage here
    by_reading: float
    light_slope: float


def resting_demand(stage: Direct | FlowInverse, point: OperatingPoint) -> float:
    """Demand that the actuator stage turns into the resting command."""
    from controller.tick.inverse import achieved_demand

    return float(achieved_demand(stage, point.command, point.state.reading_mmHg))


def build_loop(
    plant: Plant, point: OperatingPoint, side: Side, timing: Timing, stage: Direct | FlowInverse,
    coefficients: Coefficients, light_slope: float | None = None,
) -> Loop:
    """Linearise and sample one side; `light_slope` [1/mmHg] normalises the error (default: the true slope here)."""
    slopes = stage_slopes(stage, side, resting_demand(stage, point), point.state.reading_mmHg)
    discrete = sample(plant_twin(plant, point, side), timing)
    return Loop(plant, point, side, timing, stage, coefficients, discrete, *slopes, light_slope or point.light_slope)


def sides(plant: Plant) -> tuple[Side, ...]:
    """The sides worth judging: both of a flow valve; a pressure-type valve has only one behaviour."""
    return cast(tuple[Side, ...], valve_nature(plant.valve).sides)


def sampled(loop: Loop) -> SampledPlant:
    """The loop's plant for the compiled margin search."""
    return sampled_plant(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)


def closed_loop_poles(loop: Loop, added_dead_time_s: float = 0.0, gain: float = 1.0) -> Complex:
    """Closed-loop poles in the z plane, largest magnitude first; delay line and controller states included."""
    discrete = loop.discrete
    if added_dead_time_s > 0.0:
        later = loop.timing._replace(dead_time_s=loop.timing.dead_time_s + added_dead_time_s, jitter_s=0.0)
        discrete = sample(plant_twin(loop.plant, loop.point, loop.side), later)
    a, b, c = augmented(discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    ca, cb, cc, cd = controller_linear(loop.coefficients)
    straight = gain * float(cd[0, 0])
    whole = np.block([[a - straight * np.outer(b, c), gain * np.outer(b, cc)], [-np.outer(cb, c), ca]])
    poles = np.linalg.eigvals(whole)
    return np.asarray(poles[np.argsort(-np.abs(poles))])


def open_loop(loop: Loop) -> OpenLoop:
    """The loop as the margin search takes it, with its open-loop poles on and outside the unit circle counted."""
    a, _, _ = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    ca, _, cc, _ = controller_linear(loop.coefficients)
    poles = np.concatenate([np.linalg.eigvals(a), np.linalg.eigvals(ca) if np.any(cc) else np.zeros(0)])
    rates = np.abs(np.log(poles[np.abs(poles) > 1e-3].astype(complex))) / loop.timing.period_s
    slow = rates[rates > 1e-6]
    low = min(0.01 * float(np.min(slow)) if len(slow) else 1e-3, 0.1)
    return OpenLoop(
        sampled(loop), loop.coefficients, period_s=loop.timing.period_s,
        integrators=int(np.sum(np.abs(poles - 1.0) < 1e-9)),
        unstable_poles=int(np.sum((np.abs(poles) > 1.0 + 1e-9) & (np.abs(poles - 1.0) >= 1e-9))),
        low_rad_s=low, high_rad_s=np.pi / loop.timing.period_s,
    )


def loop_margins(loop: Loop) -> Margins:
    """All margins of the exact sampled loop."""
    return margins(open_loop(loop))


def exact_delay_margin(loop: Loop, guess_s: float) -> float:
    """Dead time [s] that may be added before a closed-loop pole leaves the unit circle, by the exact sampled model.

    The textbook figure (phase margin over crossover) is the guess. It is exact for whole ticks; for fractions it is off
    by the hold's aliasing, and always by what the dead time does inside the inner loop of a stage that looks at the
    measured pressure. Returns `guess_s` when no crossing lies within a factor of two of it.
    """
    from scipy.optimize import brentq

    def excess(added_s: float) -> float:
        return float(abs(closed_loop_poles(loop, added_s)[0])) - 1.0

    low, high = 0.5 * guess_s, 2.0 * guess_s
    if not np.isfinite(guess_s) or guess_s <= 0.0 or excess(low) >= 0.0 or excess(high) <= 0.0:
        return guess_s
    return float(brentq(excess, low, high, xtol=1e-12, rtol=1e-10))
