"""Two set-point searches that decide from the staircase alone: the classroom rule, and a fit of the arctangent law."""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Failed, Found, Hold, Instrument, Plan, Request, Seen
from calibrate.search.arctangent import ArctangentFit, fit_arctangent
from calibrate.search.staircase import Staircase, Step, climb, measure, saturated
from plant.declare import group, quantity

WORST_MISFIT = 4.0  # of a fit, in units of the scatter that beats have anyway; beyond, no law fits the steps
LEAST_CUFF_mmHg = 12.0  # below, the cuff cannot follow diastole down
CLASSROOM_SD_mmHg = 17.0  # error of the classroom rule over the mixed fingers, its bias included
FIT_SD_mmHg = 2.4  # of a fit whose beats were perfectly alike: veins, creep and tone between the steps


class ClassroomSearch(NamedTuple):
    """The classroom rule: the mean light at the step with the largest pulsation. The baseline of all others."""

    stairs: Annotated[Staircase, group("steps of cuff pressure")] = Staircase()

    def search(self, instrument: Instrument) -> Plan:
        """Climb, take the best step, done."""
        steps = yield from climb(self.stairs, instrument)
        if isinstance(steps, Failed):
            return steps
        best = max(steps, key=lambda s: s.rise)
        light, pressure = np.array([s.mean_light for s in steps]), np.array([s.pressure_mmHg for s in steps])
        slope = float(np.max(np.diff(light) / np.diff(pressure)))
        yield Hold(best.pressure_mmHg, self.stairs.settle_s, "back to the best")
        return Found(best.mean_light, max(slope, 1e-6), best.pressure_mmHg, CLASSROOM_SD_mmHg)


class ArctangentSearch(NamedTuple):
    """Fit of the arctangent law, gain and offset of the light, to the pulsations of all steps."""

    stairs: Annotated[Staircase, group("steps of cuff pressure")] = Staircase()
    confirm_s: Annotated[
        float, quantity("s", 0.5, 10, "hold at the pressure that the fit names, where the level is read", "invented")
    ] = 2.0

    def search(self, instrument: Instrument) -> Plan:
        """Climb, fit, hold at the mean pressure that the fit tells, and read the level off there."""
        ground = yield from find_ground(self.stairs, self.confirm_s, instrument)
        if isinstance(ground, Failed):
            return ground
        light = math.exp(-ground.depth)
        return Found(
            light, ground.fit.relative_slope * light, ground.step.pressure_mmHg, ground.sd_mmHg,
            ground.fit.width_mmHg,
        )


class Ground(NamedTuple):
    """Where a fit of the staircase stands: what finer searches start from."""

    steps: list[Step]
    fit: ArctangentFit
    step: Step  # the hold at the fit's mean pressure
    depth: float  # optical depth of the unloaded artery there

    @property
    def sd_mmHg(self) -> float:
        """Standard deviation of the error as transmural pressure: the fit's own, and what no fit can see."""
        return math.hypot(FIT_SD_mmHg, self.fit.middle_sd_mmHg)


def find_ground(
    stairs: Staircase, confirm_s: float, instrument: Instrument
) -> Generator[Request, Seen, Ground | Failed]:
    """Climb, fit the arctangent law, and hold at the mean pressure that it tells."""
    steps = yield from climb(stairs, instrument)
    if isinstance(steps, Failed):
        return steps
    fit = fit_arctangent(steps)
    if fit.misfit > WORST_MISFIT:
        spread = max(s.spread for s in steps)
        seen_text = f"misfit {fit.misfit:.1f}, pulsations of one step scatter by {100 * spread:.0f} %"
        return Failed("too irregular", seen_text)
    seen = yield Hold(min(max(fit.mean_mmHg, LEAST_CUFF_mmHg), instrument.highest_mmHg), confirm_s, "level")
    if dark := saturated(seen, instrument):
        return dark
    step = measure(seen, min(stairs.settle_s, 0.5 * confirm_s), instrument.period_s)
    return Ground(steps, fit, step, fit.unloaded_depth(step))


SEARCHES = {
    "classroom": (ClassroomSearch, "mean light at the step with the largest pulsation"),
    "arctangent": (ArctangentSearch, "arctangent law fitted to the pulsations of all steps"),
}
