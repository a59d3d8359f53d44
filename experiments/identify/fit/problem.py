"""The fit of a rig to recordings as a least-squares problem: residuals and Jacobian from one pass of the lanes.

One lane is the rig itself, each other one has one number moved a little. Every channel of every recording may have an
offset of its own (a gauge's zero): it is taken out by leaving out the mean, which is exact for a constant.
"""
from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.light.bench import LightBench
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import Bench, Free

Samples = NDArray[np.float64]
STEP = 1e-5  # of a number as the search sees it, for its derivative
COARSE, MIDDLE, FINE = 1.6, 0.5, 0.16  # of |λ|·step: while searching, for profiles, and for what is told
CORES = min(os.cpu_count() or 1, 8)


class Problem(NamedTuple):
    """What is fitted to what."""

    bench: Bench | LightBench
    free: tuple[Free, ...]
    known: tuple[tuple[Free, float], ...]  # held, with their values
    recordings: tuple[Recording, ...]
    reach: float = COARSE
    steps: tuple[int, ...] = ()  # Runge–Kutta steps a sample of each recording; empty: as each candidate needs

    @property
    def bounds(self) -> tuple[Samples, Samples]:
        """Lowest and highest the search may go."""
        return (np.array([f.inside(f.low) for f in self.free]), np.array([f.inside(f.high) for f in self.free]))

    def names(self) -> tuple[str, ...]:
        """Names of all numbers that are set: free ones, then known ones."""
        return tuple(f.name for f in self.free) + tuple(f.name for f, _ in self.known)

    def values(self, x: Samples) -> list[float]:
        """The numbers themselves at a place of the search, free ones then known ones."""
        return [f.outside(float(v)) for f, v in zip(self.free, x, strict=True)] + [value for _, value in self.known]

    def candidate(self, x: Samples) -> Any:
        """The rig at a place of the search."""
        return self.bench.candidate(self.names(), self.values(x))

    def channels(self, recording: Recording) -> list[str]:
        """Channels of a recording that are fitted."""
        return self.bench.channels(recording)

    def courses(self, k: int, moved: Sequence[Any], channels: Sequence[str] | None = None) -> dict[str, Samples]:
        """Recording number `k` as each candidate would have given it, followed as finely as the first of them needs."""
        recording = self.recordings[k]
        steps = self.steps[k] if self.steps else self.bench.steps(moved[0], recording, self.reach)
        wanted = self.channels(recording) if channels is None else channels
        return self.bench.courses(moved, recording, steps, wanted)


def with_steps(problem: Problem, x: Samples, reach: float) -> Problem:
    """The same with the steps that the rig at `x` needs, held: a course then has no jumps by where it is asked for."""
    one = problem.candidate(x)
    steps = tuple(problem.bench.steps(one, recording, reach) for recording in problem.recordings)
    return problem._replace(reach=reach, steps=steps)


def predicted(problem: Problem, x: Samples) -> list[dict[str, Samples]]:
    """Each channel of each recording as the rig at `x` would have given it, the gauge's offset included."""
    one, courses = problem.candidate(x), []
    for k, recording in enumerate(problem.recordings):
        found = problem.courses(k, [one])
        courses.append({name: values[:, 0] + problem.bench.centred * float(np.mean(recording.channels[name]
                                                                                   - values[:, 0]))
                        for name, values in found.items()})
    return courses


def offsets(problem: Problem, x: Samples) -> list[float]:
    """What the rig's transducer reads more than it should, one a recording that has it [mmHg]."""
    one, found = problem.candidate(x), []
    for k, recording in enumerate(problem.recordings):
        if "reading_mmHg" in problem.channels(recording):
            course = problem.courses(k, [one], ["reading_mmHg"])["reading_mmHg"][:, 0]
            found.append(float(np.mean(recording.channels["reading_mmHg"] - course)))
    return found


def lanes_of(problem: Problem, x: Samples, known_too: bool) -> tuple[list[Any], Samples]:
    """The candidate at `x`, then one for each number moved a little, and by how much."""
    moved: list[Any] = [problem.candidate(x)]
    _, high = problem.bounds
    sizes = []
    for i in range(len(x)):
        size = STEP if x[i] + STEP <= high[i] else -STEP
        place = x.copy()
        place[i] += size
        moved.append(problem.candidate(place))
        sizes.append(size)
    if known_too:
        for k, (f, value) in enumerate(problem.known):
            values = problem.values(x)
            values[len(x) + k] = f.outside(f.inside(value) + STEP)
            moved.append(problem.bench.candidate(problem.names(), values))
            sizes.append(STEP)
    return moved, np.array(sizes)


def evaluate(problem: Problem, x: Samples, known_too: bool = False) -> tuple[Samples, Samples]:
    """Residuals (model less recording, by the noise) and their Jacobian; with the known numbers' columns last."""
    moved, sizes = lanes_of(problem, np.asarray(x, float), known_too)
    residuals, columns = [], []
    for recording, found in zip(problem.recordings, replayed(problem, moved), strict=True):
        for name, values in found.items():
            scale = 1.0 / recording.noise[name]
            off = (values[:, 0] - recording.channels[name]) * scale
            slopes = (values[:, 1:] - values[:, :1]) * (scale / sizes)
            residuals.append(off - np.mean(off) * problem.bench.centred)
            columns.append(slopes - np.mean(slopes, axis=0) * problem.bench.centred)
    return np.concatenate(residuals), np.concatenate(columns)


def replayed(problem: Problem, moved: Sequence[Any]) -> list[dict[str, Samples]]:
    """Each recording's channels for every candidate; recordings side by side on the cores, as the kernel is released.
    """
    count = len(problem.recordings)
    if count < 2 or CORES < 2:
        return [problem.courses(k, moved) for k in range(count)]
    with ThreadPoolExecutor(min(CORES, count)) as pool:
        return list(pool.map(lambda k: problem.courses(k, moved), range(count)))


def held_out(problem: Problem, recordings: Sequence[Recording]) -> Problem:
    """The same problem on other recordings."""
    return problem._replace(recordings=tuple(recordings), steps=())
