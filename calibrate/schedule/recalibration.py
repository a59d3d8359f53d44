"""Looking for the set point again between two stretches of clamp: how far has it moved?

Short staircase: the clamp's own reading tells the pulse (S and D, both off by the set point's error δ); the light's
pulsation at two pressures beside the mean tells δ; a third hold at the corrected mean pressure reads the new level.
    rise(P) = α [F((S + δ − P)/w) − F((D + δ − P)/w)],   F(x) = atan(x)/π
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Failed, Found, Hold, Instrument, Request, Samples, Seen
from calibrate.schedule.schedule import Beats
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.searches import LEAST_CUFF_mmHg
from calibrate.search.staircase import Step, measure, pulsing, saturated
from calibrate.search.track import Track
from calibrate.search.vertex import Shape
from plant.declare import quantity

DEPTH_SPREAD, WIDTH_SPREAD = 0.4, 0.25  # of α and w since the last calibration, log-normal (invented)
MOVED_mmHg = 12.0  # and of δ
MOVING_mmHg = 0.3  # of the right level, per look, SD (invented)
# beyond, two steps beside a clamp that may have been lost do not tell enough (invented)
TOO_FAR_mmHg, CHANGED = 18.0, 2.5


class ShortStaircase(NamedTuple):
    """Two steps beside the mean cuff pressure and one at the new one."""

    beside_mmHg: Annotated[float, quantity("mmHg", 3, 60, "distance of the two steps from the mean", "invented")] = 18.0
    settle_s: Annotated[float, quantity("s", 0.1, 5, "wait after each step", "invented")] = 0.3
    beats: Annotated[float, quantity("1", 1, 20, "beats watched at each step", "invented")] = 1.3

    def repeat(
        self, instrument: Instrument, found: Found, beats: Beats
    ) -> Generator[Request, Seen, tuple[Found, float] | Failed]:
        """The new set point, and how far it moved [mmHg]; `beats` are those of the clamp just left."""
        seconds = self.settle_s + max(self.beats * beats.period_s, 0.5)
        steps: list[Step] = []
        for offset in (-self.beside_mmHg, self.beside_mmHg):
            seen = yield Hold(self._allowed(beats.mean_mmHg + offset, instrument), seconds)
            if dark := saturated(seen, instrument):
                return dark
            steps.append(measure(seen, self.settle_s, instrument.period_s))
        if not pulsing(steps):
            return Failed("no pulse", "at two steps of a short staircase")
        depth = found.light_slope / found.set_point * math.pi * found.width_mmHg
        before = depth
        moved, depth, width = fit_short(steps, beats, depth, found.width_mmHg)
        if abs(moved) > TOO_FAR_mmHg or not 1.0 / CHANGED < depth / before < CHANGED:
            return Failed("clamp not held", f"a short staircase would move by {moved:.0f} mmHg and finds the pulsation "
                          f"{depth / before:.2g} times what it was: a matter for a whole search")
        seen = yield Hold(self._allowed(beats.mean_mmHg + moved, instrument), seconds)
        last = measure(seen, self.settle_s, instrument.period_s)
        foot = (beats.diastolic_mmHg + moved - last.pressure_mmHg) / width
        light = math.exp(-(last.foot - depth * math.atan(foot) / math.pi))
        slope = depth / (math.pi * width) * light
        new = Found(light, slope, last.pressure_mmHg, found.sd_mmHg, width)
        return new, set_point_move_mmHg(found, new)

    def _allowed(self, pressure_mmHg: float, instrument: Instrument) -> float:
        return min(max(pressure_mmHg, LEAST_CUFF_mmHg), instrument.highest_mmHg)


class WideLooks(NamedTuple):
    """A few wide looks with the probing tone, in the clamp; the waveform is shown once the level is sure again."""

    looks: Annotated[int, quantity("1", 2, 20, "looks at least that are shown", "invented")] = 2

    def repeat(
        self, instrument: Instrument, found: Found, beats: Beats
    ) -> Generator[Request, Seen, tuple[Found, float] | Failed]:
        """The new set point, and how far it moved [mmHg]."""
        relative = found.light_slope / found.set_point
        shape = Shape(found.width_mmHg, skew=found.skew)
        track = Track.at(-math.log(found.set_point), relative, shape, MOVED_mmHg, MOVING_mmHg)
        new = yield from ProbingSearch().refine(instrument, track, self.looks)
        if isinstance(new, Failed):
            return new
        return new, set_point_move_mmHg(found, new)


def set_point_move_mmHg(before: Found, after: Found) -> float:
    """How far a set point has moved, as cuff pressure by the slope it had; less noisy than a short fit's own δ."""
    return math.log(after.set_point / before.set_point) * before.set_point / before.light_slope


def fit_short(steps: list[Step], beats: Beats, depth: float, width_mmHg: float) -> tuple[float, float, float]:
    """(δ [mmHg], α, w [mmHg]) that explain the rises of a few steps, near what they were at the last calibration."""
    from scipy.optimize import least_squares

    pressure, rise = np.array([s.pressure_mmHg for s in steps]), np.array([s.rise for s in steps])
    error = np.hypot(0.06 * rise, [2.0 * s.noise for s in steps])

    def residuals(x: Samples) -> Samples:
        alpha, width = depth * np.exp(DEPTH_SPREAD * x[1]), width_mmHg * np.exp(WIDTH_SPREAD * x[2])
        top = np.arctan((beats.systolic_mmHg + MOVED_mmHg * x[0] - pressure) / width)
        foot = np.arctan((beats.diastolic_mmHg + MOVED_mmHg * x[0] - pressure) / width)
        return np.concatenate([(alpha * (top - foot) / math.pi - rise) / error, x])

    x = least_squares(residuals, np.zeros(3)).x
    alpha, width = depth * np.exp(DEPTH_SPREAD * x[1]), width_mmHg * np.exp(WIDTH_SPREAD * x[2])
    return float(MOVED_mmHg * x[0]), float(alpha), float(width)
