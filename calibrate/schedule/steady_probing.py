"""The schedule that never interrupts: a small probing signal on top of the clamp holds the set point at the vertex.

Every few seconds the set point sweeps by a mmHg or two with the tone on it; the firmware subtracts both from what it
shows. A two-state Kalman filter (level and drift; Kalman 1960) joins what the looks say: in a cooling hand the right
level moves on steadily, and a filter without drift would trail behind it.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from calibrate.protocol import Failed, Found, Instrument, Search
from calibrate.schedule.schedule import Diary, Program, find, keep_time
from calibrate.search.probing import Probe, look
from calibrate.search.probing_search import NOISY, ProbingSearch, SWEEPS_mmHg, lost
from calibrate.search.track import Motion, Track
from calibrate.search.vertex import Shape
from plant.declare import group, quantity

FAR_TWICE = 2
FEWEST_LOOKS = 3  # wide ones, which are not shown
KNOWN = 0.05  # spread of a shape that is taken as known: so small a sweep cannot tell it
REACH = 2.0  # half sweeps from the middle, as far as a vertex is believed
MOVING_mmHg = 0.3  # of the right level after a search, per look, SD (invented)


class SteadyProbing(NamedTuple):
    """Parameters of the schedule."""

    probe: Annotated[Probe, group("probing signal")] = Probe(tone_mmHg=2.0, sweep_mmHg=3.0, sweep_s=2.5)
    restless_mmHg: Annotated[
        float, quantity("mmHg", 0.01, 20, "how far the right level jumps between two looks, SD", "invented")
    ] = 1.0
    turning_mmHg: Annotated[
        float, quantity("mmHg", 0.001, 20, "how much its drift per look changes between two looks, SD", "invented")
    ] = 0.2
    far_mmHg: Annotated[
        float, quantity("mmHg", 1, 50, "distance of the vertex, seen twice, that calls for wide looks", "invented")
    ] = 8.0
    astray: Annotated[int, quantity("1", 1, 100, "useless looks in a row before a new search", "invented")] = 4

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Search once, then probe for ever; search again only when the clamp is lost."""
        why = "start"
        while True:
            found = yield from find(instrument, search, diary, why)
            if isinstance(found, Failed):
                return found
            track, useless, far = track_of(found), 0, 0
            motion = Motion(self.restless_mmHg, self.turning_mmHg)
            while useless < self.astray:
                light = math.exp(-track.depth)
                sweep = min(self.probe.sweep_mmHg, SWEEPS_mmHg[1] * track.shape.width_mmHg)
                drift = (track.drift_mmHg / self.probe.sweep_s, math.sqrt(track.drift_variance) / self.probe.sweep_s)
                vertex, seen = yield from keep_time(
                    look(self.probe, instrument, light, track.relative_slope * light, track.shape, sweep, True, drift),
                    instrument, diary,
                )
                failure = lost(seen, instrument)
                if failure or vertex.scatter >= NOISY:
                    useless += 1
                    why = failure.message if failure else "no slope to be seen"
                    track = track.coast(motion)
                    continue
                useless = 0
                off = (vertex.depth - vertex.middle) / track.relative_slope
                far = far + 1 if abs(off) > self.far_mmHg else 0
                track = track.see(vertex, motion, REACH)._replace(shape=track.shape)
                if far >= FAR_TWICE:
                    wide = yield from keep_time(
                        ProbingSearch().refine(instrument, unsure(track), FEWEST_LOOKS), instrument, diary)
                    if isinstance(wide, Failed):
                        why = wide.message
                        break
                    diary.note("recalibration", -off, f"the vertex lay {abs(off):.0f} mmHg away twice")
                    track, far = track_of(wide), 0


def track_of(found: Found) -> Track:
    """Where a search has ended."""
    shape = Shape(found.width_mmHg, KNOWN, found.skew, KNOWN)
    return Track.at(-math.log(found.set_point), found.light_slope / found.set_point, shape, found.sd_mmHg, MOVING_mmHg)


def unsure(track: Track) -> Track:
    """What wide looks go on from: the level is no longer known well, nor the shape."""
    return Track.at(track.depth, track.relative_slope, Shape(track.shape.width_mmHg, skew=track.shape.skew),
                    max(track.sd_mmHg, 2.0), MOVING_mmHg)
