"""The stimulus of the test vectors: a short table from which Python and C make the same inputs, bit for bit.

Each segment holds for some ticks; each input in it is mean + swing · triangle + noise · (uniform − ½), the triangle
from −1 to 1 with the segment's period in ticks, the uniform number from a 32-bit linear congruential generator (its
constants: Numerical Recipes, from memory). Whole inputs are rounded down, conditions hold above ½.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.firmware.emit.kinds import FLAG, REAL, Kind, Struct, kind_of
from experiments.rigs.rig import Rig, clamp
from plant.declare import compiled
from plant.numerics.layout import leaves

MULTIPLIER, INCREMENT, SEED = 1664525, 1013904223, 20259
NOMINAL_mmHg = 90.0
LASTING: tuple[tuple[int, dict[str, tuple[float, float, float]]], ...] = (  # what must go on to be seen, by its period
    (700, {"reading_mmHg": (NOMINAL_mmHg, 0.0, 0.0), "missed": (2.0, 0.0, 0.0)}),
    (250, {"error_mmHg": (0.0, 60.0, 0.0)}),
    (25, {"error_mmHg": (0.0, 60.0, 0.0), "pump_mL_s": (50.0, 0.0, 0.0)}),
)


class Segment(NamedTuple):
    """Some ticks of stimulus; rows of `inputs` are mean, swing and noise of each input."""

    ticks: int
    wave_ticks: int  # period of the triangle
    inputs: tuple[tuple[float, float, float], ...]


class Stimulus(NamedTuple):
    """Names of the inputs and the segments of their values."""

    names: tuple[str, ...]
    whole: tuple[bool, ...]  # whole numbers and conditions
    segments: tuple[Segment, ...]

    @property
    def ticks(self) -> int:
        """Ticks of all segments."""
        return sum(segment.ticks for segment in self.segments)


@compiled
def congruential(seed: int, words: NDArray[np.uint32]) -> None:
    """Fill an array with the generator's words."""
    word = np.uint64(seed)
    for i in range(len(words)):
        word = (word * np.uint64(MULTIPLIER) + np.uint64(INCREMENT)) & np.uint64(0xFFFFFFFF)
        words[i] = word


def values(stimulus: Stimulus, real: Any = np.float64) -> NDArray[Any]:
    """Inputs, shape (ticks, inputs), in the arithmetic `real` (np.float64 or np.float32)."""
    count = stimulus.ticks * len(stimulus.names)
    words = np.empty(count, np.uint32)
    congruential(SEED, words)
    uniform = ((words >> 8).astype(real) * real(2.0**-24)).reshape(stimulus.ticks, -1)
    out, first = np.empty_like(uniform), 0
    for segment in stimulus.segments:
        rows = slice(first, first + segment.ticks)
        place = (np.arange(segment.ticks) % segment.wave_ticks).astype(real)
        share = place * real(1.0 / segment.wave_ticks)
        triangle = (np.abs(share - real(0.5)) * real(4.0) - real(1.0))[:, None]
        mean, swing, noise = np.array(segment.inputs, real).T
        out[rows] = mean + swing * triangle + noise * (uniform[rows] - real(0.5))
        first += segment.ticks
    whole: NDArray[Any] = out
    return whole


def law_stimulus(rig: Rig, most_ticks: int) -> Stimulus:
    """Inputs of the law's tick: all modes, quiet and violent, quick changes of mode, samples far from anything."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    light, slope = point.light, point.light_slope
    names = ("mode", "fill_mmHg", "set_point", "light_slope", "light", "reading_mmHg")
    segments: list[Segment] = []

    def add(ticks: int, mode: float, error_mmHg: float, reading: tuple[float, float, float], wave: int = 400) -> None:
        rows = ((mode, 0.0, 0.0), (NOMINAL_mmHg, 20.0, 1.0), (light, 0.1 * slope * error_mmHg, 0.0),
                (slope, 0.3 * slope, 0.0), (light, slope * error_mmHg, 0.2 * slope * error_mmHg), reading)
        segments.append(Segment(ticks, wave, rows))

    around = (NOMINAL_mmHg, 25.0, 1.0)
    number = 0
    while sum(segment.ticks for segment in segments) < most_ticks:
        violence = 2.0 ** (number % 9)
        add(500, FILL + 0.5, violence, (60.0, 60.0, 0.5), 1000)
        add(2500, CLAMP + 0.5, violence, around, 300 + 41 * number)
        add(150, VENT + 0.5, violence, (40.0, 40.0, 0.5), 300)
        add(600, 1.5, 4.0 * violence, (200.0, 500.0, 2.0), 90)
        segments.append(Segment(200, 7, tuple((mean, swing, 3.0 if i == 0 else noise)
                                              for i, (mean, swing, noise) in enumerate(segments[-1].inputs))))
        number += 1
    return Stimulus(names, (True, False, False, False, False, False), tuple(segments))


def extremes(example: Any, usual: dict[str, tuple[float, float, float]], ticks: int, lasting: int) -> Stimulus:
    """Inputs of the protection: as usual and then, one after the other, each input far below and far above that.

    `example` is a record of inputs as they usually are; `usual` adds swing and noise to some. `ticks` are those of each
    segment, `lasting` those of a few more for the detectors that wait longest.
    """
    kind = kind_of(example)
    assert isinstance(kind, Struct)
    names = tuple(name for name, _ in leaves(example))
    kinds: list[Kind] = [inner for _, inner in kind.fields]
    rest = {name: usual.get(name, (_half(value, inner), 0.0, 0.0))
            for (name, value), inner in zip(leaves(example), kinds, strict=True)}
    segments = [Segment(ticks, 700, tuple(rest.values()))]
    for name, inner in zip(names, kinds, strict=True):
        mean, swing, _ = rest[name]
        if inner == FLAG:
            changed = [(1.0 - mean, 0.0, 0.0)]
        elif inner == REAL:
            size = max(abs(mean), abs(swing), 1e-3)
            changed = [(mean + 4.0 * size, size, size), (0.0, 0.0, 0.0), (mean - 3.0 * size, 0.1 * size, 0.0)]
        else:
            changed = [(0.5, 0.0, 0.0), (2.5, 0.0, 0.0)]
        for row in changed:
            segments.append(Segment(ticks, 700, tuple((rest | {name: row}).values())))
    quick = tuple((mean, 3.0 * swing, 30.0 * noise) for mean, swing, noise in rest.values())
    segments.append(Segment(ticks, 40, quick))
    for wave, rows in LASTING:
        known = {name: row for name, row in rows.items() if name in rest}
        segments.append(Segment(lasting, wave, tuple((rest | known).values())))
    return Stimulus(names, tuple(inner != REAL for inner in kinds), tuple(segments))


def _half(value: Any, kind: Kind) -> float:
    """A whole input lies in the middle between two: it is rounded down."""
    return float(value) if kind in (REAL, FLAG) else float(value) + 0.5
