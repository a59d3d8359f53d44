"""The search of our own: a coarse fit of the staircase, then short looks with a probing tone inside the clamp.

The waveform is there from the first look on. Each look sweeps the set point once by some mmHg, reads the slope of light
against pressure off the tone, and moves the set point to the vertex of the slope (`calibrate/search/probing.py`). Looks
are joined by a scalar Kalman filter (Kalman 1960): between two looks the right level moves on with creep, veins and
tone.
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Instrument, Outcome, Plan, Request, Seen
from calibrate.search.probing import Probe, Vertex, look
from calibrate.search.searches import find_ground
from calibrate.search.staircase import Staircase, saturated
from plant.declare import group, quantity

CAUTIOUS = 1.3  # the first clamp's slope is taken this much larger: a lower loop gain until it has been measured
WIDTHS_mmHg = (6.0, 60.0)  # of the arctangent law that are believed
FIRST_SWEEP_mmHg = 3.0
SWEEP_SHARE = 0.35  # of the width, that a sweep covers at most
ENTER_s = 0.6  # of clamping before the first look
NOISY = 0.25  # relative scatter of the slopes beyond which a look says nothing
ARRIVED_mmHg = 2.5  # a look whose vertex lies nearer than this has arrived
STILL_mmHg = 5.0  # unless three looks in a row have moved by more than this together: it is being chased
SURE_mmHg = 4.0  # standard deviation beyond which a set point is no set point
LOST_LIMITED = 0.5  # share of a look's ticks at a limit, beyond which the clamp is not held


class ProbingSearch(NamedTuple):
    """Parameters of the search."""

    stairs: Annotated[Staircase, group("steps of cuff pressure")] = Staircase()
    probe: Annotated[Probe, group("probing signal")] = Probe()
    confirm_s: Annotated[float, quantity("s", 0.5, 10, "hold before the clamp", "invented")] = 2.0
    fewest: Annotated[int, quantity("1", 2, 40, "looks at least", "invented")] = 7
    most: Annotated[int, quantity("1", 3, 60, "looks at most, then it has timed out", "invented")] = 16
    restless_mmHg: Annotated[
        float, quantity("mmHg", 0.1, 20, "how far the right level moves between two looks, SD", "invented")
    ] = 2.5
    early_mmHg: Annotated[float, quantity("mmHg", 0.1, 40, "the same after the first clamp", "invented")] = 6.0

    def search(self, instrument: Instrument) -> Plan:
        """Coarse fit, clamp, looks until two in a row have arrived."""
        ground = yield from find_ground(self.stairs, self.confirm_s, instrument)
        if isinstance(ground, Failed):
            return ground
        mark = Mark(ground.depth, ground.fit.relative_slope, ground.fit.width_mmHg, 4.0 * ground.sd_mmHg**2)
        light = math.exp(-mark.depth)
        yield Clamp(light, CAUTIOUS * mark.relative_slope * light, ENTER_s, purpose="entering")
        return (yield from self.refine(instrument, mark))

    def refine(
        self, instrument: Instrument, mark: Mark, fewest: int | None = None
    ) -> Generator[Request, Seen, Outcome]:
        """Looks, in the clamp, from a mark on."""
        arrived, moved, vertex = 0, 0.0, None
        moves: list[float] = []
        for count in range(self.most):
            light = math.exp(-mark.depth)
            slope = mark.relative_slope * light * (CAUTIOUS if count == 0 else 1.0)
            sweep = min(self.probe.sweep_mmHg, SWEEP_SHARE * mark.width_mmHg)
            sweep = min(FIRST_SWEEP_mmHg, sweep) if count == 0 else sweep
            vertex, seen = yield from look(self.probe, instrument, light, slope, mark.width_mmHg, sweep)
            if failure := lost(seen, instrument):
                return failure
            restless = max(self.restless_mmHg, self.early_mmHg * 0.6**count)
            moved, mark = follow(mark, vertex, restless)
            off = (vertex.depth - vertex.middle) / vertex.relative_slope
            moves.append(moved)
            near = max(abs(moved), abs(off)) < ARRIVED_mmHg and abs(sum(moves[-3:])) < STILL_mmHg
            there = near and vertex.scatter < NOISY and mark.variance < SURE_mmHg**2
            arrived = arrived + 1 if there else 0
            if arrived >= 2 and count + 1 >= min(fewest or self.fewest, self.most):
                light, cuff = math.exp(-mark.depth), float(np.mean(seen.reading_mmHg))
                return Found(light, mark.relative_slope * light, cuff, math.sqrt(mark.variance), mark.width_mmHg)
        if vertex is None or vertex.scatter >= NOISY:
            return Failed("too irregular", "the light does not answer to the tone as an artery would")
        if mark.variance >= SURE_mmHg**2:
            return Failed("too irregular", f"after {self.most} looks the set point is only known to "
                          f"± {1.645 * math.sqrt(mark.variance):.0f} mmHg")
        return Failed("timed out", f"after {self.most} looks the set point still moves by {abs(moved):.1f} mmHg")


class Mark(NamedTuple):
    """Where the unloaded volume is believed to lie."""

    depth: float  # optical depth
    relative_slope: float  # −d depth/dp [1/mmHg]
    width_mmHg: float
    variance: float  # of the depth, as pressure [mmHg²]


def follow(mark: Mark, vertex: Vertex, restless_mmHg: float) -> tuple[float, Mark]:
    """Move a mark by what one look showed: (move [mmHg], new mark). A look that was only noise moves nothing."""
    variance = mark.variance + restless_mmHg**2
    if vertex.scatter >= NOISY:
        return 0.0, mark._replace(variance=variance)
    reach = 1.5 * vertex.span
    seen = vertex.middle + min(max(vertex.depth - vertex.middle, -reach), reach)
    error = (SPREAD * vertex.sd_mmHg) ** 2 + FLOOR_mmHg**2
    gain = variance / (variance + error)
    step = gain * (seen - mark.depth)
    width = min(max(math.sqrt(mark.width_mmHg * vertex.width_mmHg), WIDTHS_mmHg[0]), WIDTHS_mmHg[1])
    return step / vertex.relative_slope, Mark(
        mark.depth + step, vertex.relative_slope, width, (1.0 - gain) * variance
    )


SPREAD, FLOOR_mmHg = 2.0, 0.4  # errors of looks over the mixed fingers: so many times the fit's own figure, plus this


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
