"""The search of our own: a coarse fit of the staircase, then short looks with a probing tone inside the clamp.

Each look sweeps the set point once by some mmHg, reads the slope of light against pressure off the tone, and moves the
set point to the vertex of the slope (`calibrate/search/probing.py`); `calibrate/search/track.py` joins them. The
waveform is shown, less sweep and tone, as soon as a look has found its vertex near and the level is sure enough; the
set point is told some looks later. The last looks sweep less: a sweep squeezes more out of the veins than comes back
meanwhile, and with wide looks to the end the level rose afterwards (0.1 to 0.5 mmHg, every group alike).
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Instrument, Outcome, Plan, Request, Seen
from calibrate.search.probing import Expected, Probe, look, loud_enough, paced
from calibrate.search.searches import find_ground
from calibrate.search.staircase import Staircase, saturated
from calibrate.search.track import Motion, Track
from calibrate.search.vertex import Shape
from plant.declare import group, quantity

CAUTIOUS = 1.3  # the first clamp's slope is taken this much larger: a lower loop gain until it has been measured
# The staircase tells little of the width, and too little where the pulse is weak (a third less over 60 mixed fingers,
# 60 % in low perfusion): a share of its logarithm counts, about what it usually says, and about the usual width.
FITTED_mmHg, USUAL_WIDTH_mmHg, FIT_SHARE, WIDTH_SPREAD = 12.0, 17.0, 0.4, 0.35
SWEEPS_mmHg = (4.0, 0.35)  # a sweep is at least so wide, and this share of the width where that is more
ENTER_s = 0.6  # of clamping before the first look
FIRST_DRIFT_mmHg = 1.5  # of the right level after the staircase, per look, SD
NOISY, USELESS = 0.25, 4  # relative scatter of slopes beyond which a look says nothing; so many are no clamp
ARRIVED_mmHg = 2.5  # a look whose vertex lies nearer than this, or than its own SD, has arrived
SHOWN_SD_mmHg, CALM_SD_mmHg = 3.0, 2.2  # and shows its waveform when the level is as sure; counts when it is surer
SHOWN_LOOKS = 2.0  # useful looks after which a level as sure is shown in any case: the next one is there
LAST, LAST_SHARE = 4, 0.5  # shown looks at the end, and how much of the sweep they have
KEPT_DRIFT = 0.8  # share of a drift that is left at the next look
AHEAD_s = 0.5  # from the middle of the last look; further on a drift has mostly died (0.1 of 0.3 mmHg came, see above)
SURE_mmHg = 4.0  # standard deviation beyond which a set point is no set point
LOST_LIMITED = 0.5  # share of a look's ticks at a limit, beyond which the clamp is not held


class ProbingSearch(NamedTuple):
    """Parameters of the search."""

    stairs: Annotated[Staircase, group("steps of cuff pressure")] = Staircase()
    probe: Annotated[Probe, group("probing signal")] = Probe()
    confirm_s: Annotated[float, quantity("s", 0.5, 10, "hold before the clamp", "invented")] = 2.0
    calm: Annotated[int, quantity("1", 2, 40, "shown looks near the set point before it is one", "invented")] = 8
    most: Annotated[int, quantity("1", 3, 60, "looks at most, then it has timed out", "invented")] = 30
    restless_mmHg: Annotated[
        float, quantity("mmHg", 0.01, 20, "how far the right level jumps between two looks, SD", "invented")
    ] = 0.35
    turning_mmHg: Annotated[
        float, quantity("mmHg", 0.001, 20, "how much its drift per look changes between two looks, SD", "invented")
    ] = 0.25

    def search(self, instrument: Instrument) -> Plan:
        """Coarse fit, clamp, looks until the level has arrived, then shown ones until it is sure."""
        ground = yield from find_ground(self.stairs, self.confirm_s, instrument)
        if isinstance(ground, Failed):
            return ground
        width = USUAL_WIDTH_mmHg * (ground.fit.width_mmHg / FITTED_mmHg) ** FIT_SHARE
        shape = Shape(width, WIDTH_SPREAD)
        track = Track.at(ground.depth, ground.fit.relative_slope, shape, 2.0 * ground.sd_mmHg, FIRST_DRIFT_mmHg)
        light = math.exp(-track.depth)
        yield Clamp(light, CAUTIOUS * track.relative_slope * light, ENTER_s, shown=False, purpose="entering")
        return (yield from self.refine(instrument, track))

    def refine(
        self, instrument: Instrument, track: Track, calm: int | None = None
    ) -> Generator[Request, Seen, Outcome]:
        """Looks, in the clamp, from a track on, until `calm` of them were shown (as the search itself without)."""
        probe = paced(self.probe, instrument)
        pace = self.probe.sweep_s / probe.sweep_s
        most, needed = round(pace * self.most), max(round(pace * (calm or self.calm)), 1)
        calmly, useless, shown = 0, 0, False
        for count in range(most):
            on = track.ahead(self.motion)
            light = math.exp(-on.depth)
            slope = track.relative_slope * light * (CAUTIOUS if count == 0 else 1.0)
            share = LAST_SHARE if shown and calmly >= max(needed - LAST, LAST) else 1.0
            expected = Expected(on.drift_mmHg / probe.sweep_s, math.sqrt(on.drift_variance) / probe.sweep_s)
            vertex, seen = yield from look(
                probe, instrument, light, slope, track.shape, share * self.sweep_mmHg(track, count), shown, expected)
            if failure := lost(seen, instrument):
                return failure
            probe = probe._replace(tone_mmHg=loud_enough(self.probe, probe.tone_mmHg, vertex.scatter))
            if vertex.scatter >= NOISY:
                track, useless = track.coast(self.motion), useless + 1
                if useless >= USELESS:
                    break
                continue
            track = track.see(vertex, self.motion)
            off = abs(vertex.depth - vertex.middle) / vertex.relative_slope
            calmly += 1 if shown and off < ARRIVED_mmHg and track.sd_mmHg < CALM_SD_mmHg else 0
            near = off < max(ARRIVED_mmHg, vertex.sd_mmHg) or track.looks >= SHOWN_LOOKS
            shown = shown or (near and track.sd_mmHg < SHOWN_SD_mmHg)
            if calmly >= needed or (count + 1 == most and shown and track.stated_sd_mmHg < SURE_mmHg):
                return found_at(track, track.ahead(self.motion, AHEAD_s / probe.sweep_s), seen)
        if useless >= USELESS:
            return Failed("too irregular", f"in {useless} looks of {count + 1} the light does "
                          "not answer to the tone as an artery would")
        return Failed("too irregular", f"after {most} looks the set point is only known to "
                      f"± {1.645 * track.sd_mmHg:.0f} mmHg")

    @property
    def motion(self) -> Motion:
        """How the right level moves."""
        return Motion(self.restless_mmHg, self.turning_mmHg, KEPT_DRIFT)

    def sweep_mmHg(self, track: Track, count: int) -> float:
        """Amplitude of the sweep of a look, the first one's the least."""
        least, share = SWEEPS_mmHg
        return min(self.probe.sweep_mmHg, max(least, share * track.shape.width_mmHg) if count else least)


def found_at(track: Track, final: Track, seen: Seen) -> Found:
    """The set point of a track, told for a little later."""
    light = math.exp(-final.depth)
    return Found(light, track.relative_slope * light, float(np.mean(seen.reading_mmHg)), final.stated_sd_mmHg,
                 track.shape.width_mmHg, track.shape.skew)


def lost(seen: Seen, instrument: Instrument) -> Failed | None:
    """A failure when the clamp was not held during a look."""
    if dark := saturated(seen, instrument):
        return dark
    share = float(np.mean(seen.limited))
    peak = float(np.max(seen.reading_mmHg))
    if share > LOST_LIMITED or peak > instrument.highest_mmHg + 60.0:
        return Failed("clamp not held", f"command at a limit for {100 * share:.0f} % of a look, up to {peak:.0f} mmHg")
    return None


SEARCHES = {
    "probing": (ProbingSearch, "coarse fit, then a small tone in the clamp finds where light answers most to pressure"),
}
