"""Schedules × scenarios × fingers: the same bits whatever the number of workers, and resumable.

The unit of work is a finger in a scenario, under one schedule after the other. A plan is in words, as a command line
has it, so that every process can make rig and schedules for itself, a user's own among them.
"""
from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Instrument, Search
from calibrate.schedule.names import NamedSchedule, find_schedules
from calibrate.search.probing_search import ProbingSearch
from experiments.calibration.schedule.measures import METRICS
from experiments.calibration.schedule.piece import Row, Task, run_task
from experiments.rigs.rig import NOMINAL_mmHg, Rig, clamp, load_rig, parameters_of
from experiments.simulation.instrument import instrument_of
from experiments.simulation.steps import few_steps
from experiments.subjects.finger import Finger, on_finger
from experiments.subjects.population import sample_fingers
from experiments.work.chunks import fingerprint
from experiments.work.run import Engine, Unit, run

OWN_MODULE = "own_part_"  # beginning of the module names of users' own files
Piece = tuple[str, Finger]  # a scenario and who is in it


class Plan(NamedTuple):
    """What is compared."""

    rig: str  # a built-in rig's name or a rig file
    settings: tuple[str, ...]
    schedules: str  # names with commas between them
    scenarios: tuple[str, ...]
    number: int  # of fingers
    group: str
    seed: int
    seconds: float  # of each run
    folder: str = "."  # where schedules of the user's own are looked for
    search: Search = ProbingSearch()

    def fingers(self) -> list[Finger]:
        """The virtual fingers; a longer list begins with the shorter one. Raises InputError."""
        return sample_fingers(self.number, self.group, self.seed)


class Bench(NamedTuple):
    """What all runs of a plan share."""

    rig: Rig
    schedules: tuple[NamedSchedule, ...]
    instrument: Instrument
    steps: int  # Runge–Kutta steps a tick


@dataclass(frozen=True)
class Study:
    """All runs of a plan: a list of one run a schedule for each (scenario, finger)."""

    plan: Plan
    rig: Rig
    schedules: tuple[NamedSchedule, ...]
    fingers: tuple[Finger, ...]
    steps: int  # Runge–Kutta steps a tick
    runs: dict[tuple[int, int], list[Row]]

    def run(self, schedule: int, scenario: int, finger: int) -> Row:
        """One run by its places in the plan."""
        return self.runs[scenario, finger][schedule]

    def figures(self) -> NDArray[np.float64]:
        """All figures, shape (schedules, scenarios, fingers, METRICS)."""
        shape = (len(self.schedules), len(self.plan.scenarios), len(self.fingers))
        return np.array([self.run(*key).figures for key in np.ndindex(*shape)], float).reshape(*shape, len(METRICS))


def run_study(
    plan: Plan, keep: Path | None = None, engine: Engine | None = None,
    progress: Callable[[float], None] | None = None,
) -> Study:
    """Run all that is not in the folder `keep` yet. `progress` is called with the share of the runs done.

    Ctrl-C and SIGKILL leave whole files in `keep`; the same call then goes on with what is missing, and one with more
    fingers or scenarios uses what is there. Raises InputError for a finger that the rig cannot take, a rig that cannot
    clamp, a folder of another study, or no place to write.
    """
    _bench.cache_clear()  # files may have changed since
    common = plan._replace(scenarios=(), number=0)
    bench, fingers = _bench(common), tuple(plan.fingers())
    for finger in fingers:
        on_finger(bench.rig, finger)  # a cuff that does not fit is said before, not after an hour
    pieces: list[Piece] = [(scenario, finger) for scenario in plan.scenarios for finger in fingers]
    found: list[list[Row]] = run(
        pieces, partial(run_piece, common), keep, about(plan), engine, 1, progress,
        Unit("fingers and scenarios", breakable=True))
    places = np.ndindex(len(plan.scenarios), len(fingers))
    return Study(plan, bench.rig, bench.schedules, fingers, bench.steps, dict(zip(places, found, strict=True)))


def about(plan: Plan) -> dict[str, Any]:
    """What tells one study from another, in words; rig and schedules by their content, for files may have changed."""
    bench = _bench(plan._replace(scenarios=(), number=0))
    return {
        "rig": bench.rig.name, "minutes": plan.seconds / 60.0, "group": plan.group, "seed": plan.seed,
        "schedules": [named.name for named in bench.schedules],
        **{f"schedule {named.name}": repr(named.schedule) for named in bench.schedules}, "search": repr(plan.search),
        "the rig's parameters": fingerprint(parameters_of(bench.rig)),
        "own schedules": [_own_digest(named.schedule) for named in bench.schedules],
    }


def run_piece(plan: Plan, piece: Piece) -> list[Row]:
    """Every schedule on one finger in one scenario; the unit of work."""
    bench, (scenario, finger) = _bench(plan), piece
    schedules = tuple(named.schedule for named in bench.schedules)
    return run_task(
        Task(bench.rig, bench.instrument, bench.steps, plan.search, schedules, scenario, finger, plan.seconds))


@lru_cache(maxsize=1)
def _bench(plan: Plan) -> Bench:
    """Rig and schedules of a plan, made once a process. Raises InputError."""
    rig = load_rig(plan.rig, list(plan.settings))
    schedules = find_schedules(plan.schedules, Path(plan.folder))
    return Bench(rig, schedules, instrument_of(rig), few_steps(rig, clamp(rig, NOMINAL_mmHg, rig.tone.level)))


def _own_digest(thing: Any) -> str:
    """Hash of the users' files behind the classes of a thing and of what is inside it; empty when there are none."""
    files = sorted(set(_own_files(thing)))
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:16] if files else ""


def _own_files(thing: Any) -> list[Path]:
    if not isinstance(thing, tuple):
        return []
    module = type(thing).__module__
    file = getattr(sys.modules.get(module), "__file__", None) if module.startswith(OWN_MODULE) else None
    return [*([Path(file)] if file else []), *(path for inner in thing for path in _own_files(inner))]
