"""The rig on thirty-two virtual fingers: each one's margin, then a short run of all of them side by side."""
from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop, build_loop, loop_margins, sides
from controller.tick.law import Coefficients, design
from experiments.bench.answers.strips import COARSE_STEPS
from experiments.bench.asked import Asked
from experiments.bench.wire import Answer
from experiments.check.check import run_tracking
from experiments.rigs.rig import Rig, clamp, tone_share
from experiments.simulation.recorded import recorded_runs
from experiments.simulation.simulate import Plan, Ready, Run, mean_pressure, prepare
from experiments.subjects.finger import Finger, finger_pressure, on_finger
from experiments.subjects.population import sample_fingers
from plant.errors import InputError
from plant.operating_point import clamp_point
from plant.pressure.record import PressureTrace

COUNT, GROUP, SEED = 32, "mixed", 1
RUN_s = 3.4
PLAN = Plan(0.3, 0.7, filled=True)
CHUNK = 8  # fingers between two looks whether this is still wanted
EVERY = 12  # ticks between two drawn samples


class Judged(NamedTuple):
    """A finger with its margin, or why it has none."""

    stable: bool
    modulus_margin: float
    phase_margin_deg: float
    why: str = ""


def fingers(asked: Asked) -> Iterator[Answer]:
    """Margins, some fingers at a time, then traces. What a rig cannot clamp on is said finger by finger."""
    rig = asked.made()
    people = cohort()
    rows: list[Judged] = []
    for first in range(0, COUNT, CHUNK):
        rows += [judged(rig, finger) for finger in people[first : first + CHUNK]]
        yield Answer(told(people[: len(rows)], rows, {}))
    runs = run_all(rig, people)
    yield Answer(told(people, rows, runs) | {"traces": True}, traces(people, runs))


@functools.cache
def cohort() -> tuple[Finger, ...]:
    """The fingers: the first of the usual population."""
    return tuple(sample_fingers(COUNT, GROUP, SEED))


@functools.lru_cache(maxsize=64)
def pressure(finger: Finger, period_s: float) -> PressureTrace:
    """A finger's own arterial pressure."""
    return finger_pressure(finger, period_s, RUN_s)


def judged(rig: Rig, finger: Finger) -> Judged:
    """The worst side's margins at the finger's mean pressure, at its true light slope."""
    law = design(rig.controller, rig.timing.period_s)
    try:
        own = on_finger(rig, finger)
        mean = mean_pressure(pressure(finger, rig.timing.period_s))
        kept = _kept(own, mean)
        slope = kept.light_slope * tone_share(own, own.tone.level)
        found = [loop_margins(loop._replace(coefficients=law, light_slope=slope)) for loop in kept.loops]
    except InputError as error:
        return Judged(False, math.nan, math.nan, str(error))
    worst = min(found, key=lambda m: (m.stable, m.modulus_margin))
    return Judged(worst.stable, worst.modulus_margin, worst.phase_margin_deg)


class Kept(NamedTuple):
    """The sampled loops of a rig on a finger: a gain changes nothing of them but the law, and what a tone shows."""

    loops: list[Loop]
    light_slope: float  # slow one [1/mmHg]


def _kept(own: Rig, mean_mmHg: float) -> Kept:
    """Those of a rig on a finger, made once. Raises InputError."""
    key = (own.plant, own.tone, own.timing, own.stage, own.design, own.design_tone, mean_mmHg)
    if key not in _KEPT:
        if len(_KEPT) >= 4 * COUNT:
            _KEPT.clear()
        law: Coefficients = design(own.controller, own.timing.period_s)
        clamp(own, mean_mmHg, own.tone.level)  # its complaints name the rig
        point = clamp_point(own.plant, mean_mmHg, own.tone.level)
        loops = [build_loop(own.plant, point, side, own.timing, own.stage, law) for side in sides(own.plant)]
        _KEPT[key] = Kept(loops, point.light_slope)
    return _KEPT[key]


_KEPT: dict[Any, Kept] = {}


def run_all(rig: Rig, people: tuple[Finger, ...]) -> dict[int, Run]:
    """A short run of each finger that the rig can clamp on, by its number."""
    numbers: list[int] = []
    runs: list[Ready] = []
    for number, finger in enumerate(people):
        try:
            trace = pressure(finger, rig.timing.period_s)
            runs.append(prepare(on_finger(rig, finger), trace, PLAN, finger.seed, COARSE_STEPS))
            numbers.append(number)
        except InputError:
            continue  # its row says why
    return {numbers[place]: run for place, run in recorded_runs(runs)}


def told(people: tuple[Finger, ...], rows: list[Judged], runs: dict[int, Run]) -> dict[str, Any]:
    """One row a finger, as plain data."""
    found = []
    for number, (finger, row) in enumerate(zip(people, rows, strict=True)):
        p, run = finger.pressure, runs.get(number)
        tracked = run_tracking(run, harmonics=False) if run is not None else None
        about = f"{p.systolic_mmHg:.0f}/{p.diastolic_mmHg:.0f} mmHg, {p.rate_per_min:.0f}/min"
        found.append({
            "name": finger.name, "about": about, **row._asdict(), "status": run.status if run is not None else "",
            "rms_mmHg": tracked.ideal.rms_mmHg if tracked is not None else math.nan,
        })
    return {"fingers": found, "of": COUNT}


def traces(people: tuple[Finger, ...], runs: dict[int, Run]) -> dict[str, NDArray[Any]]:
    """Ideal and cuff pressure of every finger, one after the other; gaps where there is no run."""
    samples = max((len(run.trace.pressure_mmHg[::EVERY]) for run in runs.values()), default=0)
    cuff, ideal = (np.full((len(people), samples), np.nan) for _ in range(2))
    for number, run in runs.items():
        for table, values in ((cuff, run.channels["cuff_mmHg"][::EVERY]), (ideal, run.ideal_mmHg[::EVERY])):
            table[number, : len(values)] = values
    return {"cuff_mmHg": cuff.ravel(), "ideal_mmHg": ideal.ravel()}
