"""Is the set point still where the artery is unloaded? Ten seconds of a small probe, taken off what is shown.

Three signs tell of a set point that is off: the vertex that the sweep sees; the second harmonic that the artery's own
curvature gives the light at the tone, whose sign is the error's; and the slope now over the slope believed, which falls
on either side of the vertex. By the arctangent law at an error x (transmural pressure less p0), under a tone A:
    light at 2f over light at f = A x / (2 (w² + x²)),    slope over believed slope = 1/(1 + (x/w)²)
It asks for a probe, watches for seconds and reads frequencies, so it is a request of the slow task; what it comes to is
handed to the detector `confirmation` (`controller/protection/detectors_self.py`). Whoever holds a set point runs it
after a search and from time to time, and searches again where it says so.
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Found, Instrument, Request, Samples, Seen
from calibrate.search.probing import (
    VERTEX_BLUR,
    Probe,
    SKIP_s,
    blur_mmHg,
    local_slopes,
    loud_enough,
    probing_clamp,
    window_ticks,
)
from calibrate.search.probing_search import NOISY, lost
from calibrate.search.vertex import Shape, Vertex, fit_vertex
from plant.declare import group, quantity

USUAL_WIDTH_mmHg, WIDTH_SPREAD = 18.0, 0.3  # a set point that is off has its width from a search that is off: not used
DRIFT_mmHg_s = 0.7  # of the right level while it looks, SD
LACKING = 0.6  # share of the slope believed, below which a tone grows no louder
LOOK_SD_mmHg = 0.6  # what looks differ by beyond their own figure


class Verdict(NamedTuple):
    """What the confirmation saw."""

    off_mmHg: float  # the set point less the vertex, as transmural pressure; nan where no look showed a vertex
    sd_mmHg: float
    slope_share: float  # slope at the set point over the slope believed; nan where none was seen
    second: float  # light at twice the tone over that at the tone, as by the probe's own tone; the pressure's taken off
    astray: bool
    why: str  # in words; empty when nothing is wrong


class Confirmation(NamedTuple):
    """The probe, and how far off is too far. A vertex out of the sweep's sight is told too near: about half way."""

    probe: Annotated[Probe, group("probing signal")] = Probe(tone_mmHg=3.0, sweep_mmHg=6.0, sweep_s=2.5)
    looks: Annotated[int, quantity("1", 2, 100, "periods of the sweep", "invented")] = 4
    off_mmHg: Annotated[float, quantity("mmHg", 0.1, 50, "offset of the vertex that counts 1", "invented")] = 3.0
    second: Annotated[float, quantity("1", 1e-3, 1, "second harmonic that counts 1", "invented")] = 0.04
    slope: Annotated[float, quantity("1", 0.01, 1, "lack of slope that counts 1", "invented")] = 0.35
    limit: Annotated[float, quantity("1", 0.1, 100, "largest sum of the three that is let pass", "invented")] = 1.5

    def confirm(self, instrument: Instrument, found: Found) -> Generator[Request, Seen, Verdict]:
        """Clamp at a set point for some seconds with the probe on it, shown, and judge.

        Where a harmonic of the pulse lies beside the tone, the tone grows as a search's does; not where slope is
        lacking: there a set point is off, and a loud tone throws the clamp.
        """
        seen: list[Seen] = []
        tones: list[float] = []
        probe = self.probe
        for _ in range(self.looks):
            seen.append((yield probing_clamp(
                probe, instrument, found.set_point, found.light_slope, probe.sweep_mmHg, True)))
            tones.append(probe.tone_mmHg)
            if lost(seen[-1], instrument):
                break
            scatter = self._vertex(seen[-1], instrument).scatter
            slope = float(np.median(local_slopes(seen[-1], instrument, SKIP_s).slope))
            if slope * found.set_point > LACKING * found.light_slope:
                probe = probe._replace(tone_mmHg=loud_enough(self.probe, probe.tone_mmHg, scatter))
        return self.judge(seen, instrument, found, tones)

    def _vertex(self, seen: Seen, instrument: Instrument) -> Vertex:
        """What one stretch shows, with no more than a usual shape believed."""
        return fit_vertex(local_slopes(seen, instrument, SKIP_s), Shape(USUAL_WIDTH_mmHg, WIDTH_SPREAD),
                          (0.0, DRIFT_mmHg_s), self.probe.sweep_s, VERTEX_BLUR * blur_mmHg(seen, instrument, SKIP_s))

    def judge(
        self, seen: list[Seen], instrument: Instrument, found: Found, tones_mmHg: list[float] | None = None
    ) -> Verdict:
        """What some stretches of the probe show; their tones are the probe's unless told."""
        for stretch in seen:
            if failure := lost(stretch, instrument):
                return Verdict(math.nan, math.inf, math.nan, math.nan, True, failure.message)
        vertices = [self._vertex(s, instrument) for s in seen]
        useful = [k for k, v in enumerate(vertices) if v.scatter < NOISY]
        if 2 * len(useful) < self.looks:
            return Verdict(math.nan, math.inf, math.nan, math.nan, True, "no slope to be seen")
        off, sd = mean_offset([vertices[k] for k in useful])
        typical = float(np.median([np.median(local_slopes(seen[k], instrument, SKIP_s).slope) for k in useful]))
        share = typical * found.set_point / found.light_slope
        tones = tones_mmHg or [self.probe.tone_mmHg] * len(seen)
        second = float(np.mean([second_harmonic(seen[k], instrument) * self.probe.tone_mmHg / tones[k]
                                for k in useful]))
        return self._verdict(off, sd, share, second)

    def _verdict(self, off: float, sd: float, share: float, second: float) -> Verdict:
        """Vertex and second harmonic count with their signs, so that noise in one does not add to the other."""
        score = abs(off / self.off_mmHg + second / self.second) + max(1.0 - share, 0.0) / self.slope
        astray = not score <= self.limit  # so is what is no number
        why = (f"the vertex lies {abs(off):.0f} mmHg away, the second harmonic is {second:+.3f}, the light answers "
               f"with {100 * share:.0f} % of the slope believed")
        return Verdict(off, sd, share, second, astray, why if astray else "")


def mean_offset(vertices: list[Vertex]) -> tuple[float, float]:
    """(set point less vertex as transmural pressure, its standard deviation) [mmHg] over looks."""
    off = np.array([(v.middle - v.depth) / v.relative_slope for v in vertices])
    weight = 1.0 / (np.array([v.sd_mmHg for v in vertices]) ** 2 + LOOK_SD_mmHg**2)
    mean = float(np.sum(weight * off) / np.sum(weight))
    scatter = float(np.sum(weight * (off - mean) ** 2) / np.sum(weight)) / max(len(off) - 1, 1)
    return mean, math.sqrt(max(scatter, 1.0 / float(np.sum(weight))))


def second_harmonic(seen: Seen, instrument: Instrument) -> float:
    """Light at twice the probing frequency over that at it, in phase, less what the pressure's own overtone makes."""
    ticks = window_ticks(instrument)
    first = round(SKIP_s / instrument.period_s)
    count = (len(seen.light) - first) // ticks
    if count < 1:
        return math.nan
    stop = first + count * ticks
    turn = np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(first, stop))
    window = np.hanning(len(turn))

    def at(signal: Samples, power: int) -> complex:
        return complex(np.sum((signal[first:stop] - np.mean(signal[first:stop])) * window * turn**power))

    light, pressure = at(seen.light, 1), at(seen.reading_mmHg, 1)
    if light == 0.0 or pressure == 0.0:
        return math.nan
    own = at(seen.light, 2) - light / pressure * at(seen.reading_mmHg, 2)
    return float((own / light * abs(pressure) / pressure).real)
