"""The schedule that never interrupts: a small probing signal on top of the clamp holds the set point at the vertex.

Every second or two the set point sweeps by some mmHg with the tone on it; the firmware subtracts both from what it
shows. A bank of filters (`level_bank.py`) joins what the looks say and foretells the level, waves included; the set
point goes along the course that is foretold. Where vertices lie far from where they were expected, sweeps grow wider.
How wide the peak is goes with the slope (`toned_shape.py`).
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Failed, Found, Instrument, Search
from calibrate.schedule.level_bank import LevelBank
from calibrate.schedule.schedule import Diary, Program, find, keep_time
from calibrate.schedule.toned_shape import TonedShape
from calibrate.search.probing import Expected, Probe, look, paced
from calibrate.search.probing_search import NOISY, ProbingSearch, lost
from calibrate.search.track import Motion, Track
from calibrate.search.vertex import Shape
from plant.declare import group, quantity

FAR_TWICE = 2
FEWEST_LOOKS = 3  # wide ones, which are not shown
KNOWN = 0.05  # spread of a shape that is taken as known: so small a sweep cannot tell it
# a sweep of so many times the largest of the last offsets, or of this share of the peak's width
WIDER, WIDEST_mmHg, KEPT_SURPRISE, SWEEP_SHARE = 1.5, 10.0, 0.85, 0.3
REACH = 2.0  # half sweeps from the middle, as far as a vertex is believed


class SteadyProbing(NamedTuple):
    """Parameters of the schedule."""

    probe: Annotated[Probe, group("probing signal")] = Probe(tone_mmHg=3.0, sweep_mmHg=4.0, sweep_s=1.25)
    restless_mmHg: Annotated[
        float, quantity("mmHg", 0.01, 20, "how far the right level jumps between two looks, SD", "invented")
    ] = 1.0
    turning_mmHg: Annotated[
        float, quantity("mmHg", 0.001, 20, "how much its drift per look changes between two looks, SD", "invented")
    ] = 0.2
    far_mmHg: Annotated[
        float, quantity("mmHg", 1, 50, "distance of the vertex, seen twice, that calls for wide looks", "invented")
    ] = 8.0
    astray: Annotated[int, quantity("1", 1, 100, "useless looks in a row before a new search", "invented")] = 8

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Search once, then probe for ever; search again only when the clamp is lost."""
        why, probe, toned = "start", paced(self.probe, instrument), TonedShape(Shape(WIDEST_mmHg))
        while True:
            found = yield from find(instrument, search, diary, why)
            if isinstance(found, Failed):
                return found
            motion = Motion(self.restless_mmHg, self.turning_mmHg)
            bank, useless, far, surprise = bank_of(found, motion, probe), 0, 0, 0.0
            toned = toned.found(bank.shape, bank.relative_slope)
            while useless < self.astray:
                light, slope = math.exp(-bank.depth(1.0)), bank.slope(1.0)
                bank = bank._replace(shape=toned.shape)
                least = max(probe.sweep_mmHg, SWEEP_SHARE * bank.shape.width_mmHg)
                sweep = min(max(least, WIDER * surprise), WIDEST_mmHg)
                vertex, seen = yield from keep_time(
                    look(probe, instrument, light, slope * light, bank.shape, sweep, True,
                         expected_of(bank, instrument)),
                    instrument, diary,
                )
                failure = lost(seen, instrument)
                if failure or vertex.scatter >= NOISY:
                    useless += 1
                    why = failure.message if failure else "no slope to be seen"
                    bank = bank.coast()
                    continue
                useless = 0
                off = (vertex.depth - vertex.middle) / slope
                surprise = max(abs(off), KEPT_SURPRISE * surprise)
                far = far + 1 if abs(off) > self.far_mmHg else 0
                bank = bank.see(vertex, REACH)
                toned = toned.see(bank.relative_slope)
                if far >= FAR_TWICE:
                    doubted = Track.unsure(
                        bank.depth(1.0), bank.relative_slope, bank.shape.width_mmHg, bank.shape.skew, 0.0)
                    wide = yield from keep_time(
                        ProbingSearch().refine(instrument, doubted, FEWEST_LOOKS), instrument, diary)
                    if isinstance(wide, Failed):
                        why = wide.message
                        break
                    diary.note("recalibration", -off, f"the vertex lay {abs(off):.0f} mmHg away twice")
                    bank, far = bank_of(wide, motion, probe), 0


def bank_of(found: Found, motion: Motion, probe: Probe) -> LevelBank:
    """What is believed after a search."""
    return LevelBank.after(found, Shape(found.width_mmHg, KNOWN, found.skew, KNOWN), motion, probe.sweep_s)


def expected_of(bank: LevelBank, instrument: Instrument) -> Expected:
    """How the level will move during the next look."""
    ticks = instrument.ticks(bank.look_s)
    looks = 1.0 + ((np.arange(ticks) + 0.5) / ticks - 0.5)
    level = bank.course_mmHg(looks)
    share = bank.relative_slope / bank.slope(1.0)  # levels count at the mean slope
    rate = share * (bank.level_mmHg(1.1) - bank.level_mmHg(0.9)) / (0.2 * bank.look_s)
    return Expected(rate, share * bank.drift_sd_mmHg / bank.look_s, share * (bank.level_mmHg(1.0) - level))
