"""Search, clamp briefly, then refit the staircase with the waveform that the clamp itself recorded.

A coarse fit of the pulsations lets the clamp record a beat of true shape and size (`calibrate/search/waveform.py`). One
more hold follows, at the pressure where the wall of the artery does not creep; then all holds are fitted anew with that
beat as template (`waveform_fit.py`). What the light was at the unloaded volume is read off the last hold.
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Plan, Request, Seen
from calibrate.search.probing_search import CAUTIOUS, lost
from calibrate.search.searches import Ground, LEAST_CUFF_mmHg, find_ground
from calibrate.search.staircase import Staircase, saturated
from calibrate.search.waveform import record_beat
from calibrate.search.waveform_fit import Stretch, WaveformFit, fit_waveform
from plant.declare import group, quantity

HANDOVER_s = 0.9  # of a clamp, before which its reading is not yet the waveform
LONGEST_s = 7.0  # recording, within which two whole beats must come
WORST_MISFIT = 4.0  # beyond, the beats of the holds are not the recorded one's
ARRIVED_mmHg, UNSURE_mmHg = 5.0, 2.0  # moved by more or less sure (SD): one more round
LOST_mmHg = 4.0  # less sure than this is no set point
DRIFT_mmHg_s = 1.5  # largest drift of a level that is believed
SPREAD, FLOOR_mmHg = 1.2, 0.5  # errors over the mixed fingers: so many times the fit's own figure, and creep since


class WaveformSearch(NamedTuple):
    """Parameters of the search."""

    stairs: Annotated[Staircase, group("steps of cuff pressure")] = Staircase()
    confirm_s: Annotated[float, quantity("s", 0.5, 10, "hold before the first clamp", "invented")] = 2.0
    clamp_s: Annotated[
        float, quantity("s", 1.5, 20, "clamp whose waveform is recorded; longer while the beats are slow", "invented")
    ] = 2.8
    hold_s: Annotated[float, quantity("s", 1, 10, "hold after a clamp, where the level is read", "invented")] = 2.0
    fewest: Annotated[int, quantity("1", 1, 5, "rounds of clamp, hold and refit at least", "invented")] = 1
    most: Annotated[int, quantity("1", 1, 8, "rounds at most", "invented")] = 3

    def search(self, instrument: Instrument) -> Plan:
        """Coarse fit; then clamp, refit, hold and refit once more, again while that moves the set point far."""
        log: list[tuple[Request, Seen]] = []
        ground = yield from overheard(find_ground(self.stairs, self.confirm_s, instrument), log)
        if isinstance(ground, Failed):
            return ground
        period = instrument.period_s
        holds, now = holds_of(log, self.stairs.settle_s, period)
        depth, slope = ground.depth, CAUTIOUS * ground.fit.relative_slope
        coarse = ground.fit
        for count in range(self.most):
            light = math.exp(-depth)
            clamp = yield from self._record(instrument, light, slope * light, now)
            if isinstance(clamp, Failed):
                return clamp
            now = clamp.start_s + len(clamp.depth) * period
            first = fit_waveform(holds, clamp, coarse, period)
            if first is None:
                return Failed("too irregular", f"no whole beat in {len(clamp.depth) * period:.1f} s of clamp")
            # the clamp's own error is turned into pressure by the slope: a better slope, a better template
            coarse = coarse._replace(depth=first.depth, width_mmHg=first.width_mmHg)
            pressure = min(max(first.balanced_mmHg, LEAST_CUFF_mmHg), instrument.highest_mmHg)
            seen = yield Hold(pressure, self.hold_s, "level")
            if dark := saturated(seen, instrument):
                return dark
            holds.append(after_settling(seen, now, self.stairs.settle_s, period))
            now += len(seen.light) * period
            fit = fit_waveform(holds, clamp, coarse, period) or first
            old, depth, slope = depth, unloaded_now(fit, self.stairs.watch_s), fit.relative_slope
            sd = math.hypot(SPREAD * float(fit.unloaded_sd_mmHg[-1]), FLOOR_mmHg)
            if count + 1 >= self.fewest and abs(depth - old) < ARRIVED_mmHg * slope and sd < UNSURE_mmHg:
                break
        if fit.misfit > WORST_MISFIT or sd > LOST_mmHg:
            return Failed("too irregular", f"misfit {fit.misfit:.1f}, set point sure to {sd:.1f} mmHg (SD)")
        light = math.exp(-depth)
        return Found(light, slope * light, float(np.mean(seen.reading_mmHg)), sd, fit.width_mmHg)

    def _record(
        self, instrument: Instrument, light: float, slope: float, start_s: float
    ) -> Generator[Request, Seen, Stretch | Failed]:
        """A clamp long enough for two whole beats."""
        pieces: list[Seen] = []
        seconds = self.clamp_s
        while True:
            seen = yield Clamp(light, slope, seconds, purpose="recording")
            if failure := lost(seen, instrument):
                return failure
            pieces.append(seen)
            stretch = after_settling(joined(pieces), start_s, HANDOVER_s, instrument.period_s)
            beat = record_beat(stretch.reading_mmHg, instrument.period_s)
            if (beat and len(beat.level_mmHg) >= 2) or len(stretch.depth) * instrument.period_s > LONGEST_s:
                return stretch
            seconds = 0.5


def overheard(
    plan: Generator[Request, Seen, Ground | Failed], log: list[tuple[Request, Seen]]
) -> Generator[Request, Seen, Ground | Failed]:
    """Pass on what a plan asks and is sent, and keep it."""
    try:
        request = next(plan)
        while True:
            seen = yield request
            log.append((request, seen))
            request = plan.send(seen)
    except StopIteration as end:
        outcome: Ground | Failed = end.value
        return outcome


def holds_of(log: list[tuple[Request, Seen]], settle_s: float, period_s: float) -> tuple[list[Stretch], float]:
    """The settled holds of a log in order of time, and the time at its end."""
    holds: list[Stretch] = []
    ticks = 0
    for request, seen in log:
        if isinstance(request, Hold):
            holds.append(after_settling(seen, ticks * period_s, settle_s, period_s))
        ticks += len(seen.light)
    return holds, ticks * period_s


def after_settling(seen: Seen, start_s: float, settle_s: float, period_s: float) -> Stretch:
    """What was seen past the first `settle_s`."""
    first = min(round(settle_s / period_s), len(seen.light) // 2)
    depth = -np.log(np.maximum(seen.light[first:], 1e-9))
    return Stretch(start_s + first * period_s, depth, seen.reading_mmHg[first:])


def joined(pieces: list[Seen]) -> Seen:
    """Stretches one after the other as one."""
    return Seen(*(np.concatenate(channel) for channel in zip(*pieces, strict=True)))


def unloaded_now(fit: WaveformFit, watched_s: float) -> float:
    """Optical depth of the unloaded artery after the last hold: as at its middle, and half of its drift from there."""
    most = DRIFT_mmHg_s * fit.relative_slope
    rate = min(max(float(fit.unloaded_rate[-1]), -most), most)
    return float(fit.unloaded_depth[-1]) + 0.25 * watched_s * rate


SEARCHES = {"waveform": (WaveformSearch, "steps fitted anew with the waveform that a short clamp recorded")}
