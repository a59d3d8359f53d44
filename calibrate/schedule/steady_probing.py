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
from calibrate.search.probing import Probe, Vertex, look
from calibrate.search.probing_search import NOISY, SPREAD, SWEEP_SHARE, FLOOR_mmHg, Mark, ProbingSearch, lost
from plant.declare import group, quantity

FAR_TWICE = 2
FEWEST_LOOKS = 3  # wide ones, which are not shown
KNOWN = 0.05  # spread of the curvature that is taken as known: so small a sweep cannot tell it


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
            track, useless, far = Track.at(found), 0, 0
            while useless < self.astray:
                light = math.exp(-track.depth)
                sweep = min(self.probe.sweep_mmHg, SWEEP_SHARE * track.width_mmHg)
                vertex, seen = yield from keep_time(
                    look(self.probe, instrument, light, track.relative_slope * light, track.width_mmHg, sweep, KNOWN,
                         True),
                    instrument, diary,
                )
                failure = lost(seen, instrument)
                if failure or vertex.scatter >= NOISY:
                    useless += 1
                    why = failure.message if failure else "no slope to be seen"
                    track = track.coast(self)
                    continue
                useless = 0
                off = (vertex.depth - vertex.middle) / track.relative_slope
                far = far + 1 if abs(off) > self.far_mmHg else 0
                track = track.see(vertex, self)
                if far >= FAR_TWICE:
                    wide = yield from keep_time(
                        ProbingSearch().refine(instrument, track.mark(), FEWEST_LOOKS), instrument, diary)
                    if isinstance(wide, Failed):
                        why = wide.message
                        break
                    diary.note("recalibration", -off, f"the vertex lay {abs(off):.0f} mmHg away twice")
                    track, far = Track.at(wide), 0


class Track(NamedTuple):
    """Level and drift of the unloaded volume as they are believed, in optical depth; covariances as pressure."""

    depth: float
    drift: float  # of the depth, per look
    relative_slope: float
    width_mmHg: float
    level_variance: float  # [mmHg²]
    joint_variance: float
    drift_variance: float

    @classmethod
    def at(cls, found: Found) -> Track:
        """Where a search has ended."""
        return cls(
            -math.log(found.set_point), 0.0, found.light_slope / found.set_point, found.width_mmHg,
            found.sd_mmHg**2, 0.0, 0.3**2,
        )

    def mark(self) -> Mark:
        """What a search goes on from."""
        return Mark(self.depth, self.relative_slope, self.width_mmHg, max(self.level_variance, 4.0))

    def coast(self, tuning: SteadyProbing) -> Track:
        """One look later, nothing seen: the drift dies away."""
        return self._replace(
            drift=0.5 * self.drift, level_variance=self.level_variance + tuning.restless_mmHg**2,
        )

    def see(self, vertex: Vertex, tuning: SteadyProbing) -> Track:
        """One look later, with its vertex seen."""
        level = self.level_variance + 2.0 * self.joint_variance + self.drift_variance + tuning.restless_mmHg**2
        joint = self.joint_variance + self.drift_variance
        drift = self.drift_variance + tuning.turning_mmHg**2
        error = (SPREAD * vertex.sd_mmHg) ** 2 + FLOOR_mmHg**2
        reach = 2.0 * vertex.span
        seen = vertex.middle + min(max(vertex.depth - vertex.middle, -reach), reach)
        expected = self.depth + self.drift
        gain, turn = level / (level + error), joint / (level + error)
        innovation = seen - expected
        slope = self.relative_slope + 0.3 * (vertex.relative_slope - self.relative_slope)
        return Track(
            expected + gain * innovation, self.drift + turn * innovation, slope, self.width_mmHg,
            (1.0 - gain) * level, (1.0 - gain) * joint, drift - turn * joint,
        )
