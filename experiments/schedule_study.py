"""Schedules × scenarios × fingers: the same bits whatever the number of workers, and resumable."""
from __future__ import annotations

import hashlib
import multiprocessing
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.probing_search import ProbingSearch
from calibrate.protocol import Search
from experiments.finger import Finger, on_finger
from experiments.instrument import NOMINAL_mmHg, instrument_of
from experiments.population import sample_fingers
from experiments.rig import Rig, clamp
from experiments.schedule_metrics import METRICS
from experiments.schedule_names import NamedSchedule
from experiments.schedule_run import ScheduleRun, Task
from experiments.schedule_store import RunStore, program_digest
from experiments.schedule_workers import Job, run_jobs
from experiments.steps import few_steps

OWN_MODULE = "own_part_"  # beginning of the module names of users' own files


class StudyPlan(NamedTuple):
    """What is compared."""

    rig: Rig
    schedules: tuple[NamedSchedule, ...]
    scenarios: tuple[str, ...]
    number: int  # of fingers
    group: str
    seed: int
    seconds: float  # of each run
    search: Search = ProbingSearch()

    def fingers(self) -> list[Finger]:
        """The virtual fingers; a longer list begins with the shorter one. Raises InputError."""
        return sample_fingers(self.number, self.group, self.seed)

    def settings(self) -> dict[str, str]:
        """All that shapes the runs, as words."""
        named = {f"schedule {s.name}": repr(s.schedule) for s in self.schedules}
        return {
            "rig": self.rig.name, "minutes": f"{self.seconds / 60.0:.12g}", "fingers": str(self.number),
            "group": self.group, "seed": str(self.seed), "schedules": ",".join(s.name for s in self.schedules),
            "scenarios": ",".join(self.scenarios), **named, "search": repr(self.search),
            "rig's parameters": hashlib.sha256(repr(self.rig).encode()).hexdigest()[:16],
            "program": program_digest(_own_files(self)),
        }


@dataclass(frozen=True)
class Study:
    """All runs of a plan: a list of one run a schedule for each (scenario, finger)."""

    plan: StudyPlan
    fingers: tuple[Finger, ...]
    steps: int  # Runge–Kutta steps a tick
    runs: dict[tuple[int, int], list[ScheduleRun]]
    reused: int  # runs that were there already

    def run(self, schedule: int, scenario: int, finger: int) -> ScheduleRun:
        """One run by its places in the plan."""
        return self.runs[scenario, finger][schedule]

    def figures(self) -> NDArray[np.float64]:
        """All figures, shape (schedules, scenarios, fingers, METRICS)."""
        shape = (len(self.plan.schedules), len(self.plan.scenarios), len(self.fingers))
        return np.array([self.run(*key).figures for key in np.ndindex(*shape)], float).reshape(*shape, len(METRICS))


def run_study(
    plan: StudyPlan, workers: int = 1, keep: Path | None = None, progress: Callable[[float], None] | None = None
) -> Study:
    """Run all that is not in the folder `keep` yet. `progress` is called with the share of simulated time done.

    Ctrl-C and SIGKILL leave whole files in `keep`; the same call then goes on with what is missing. Raises InputError
    for a finger that the rig cannot take, a rig that cannot clamp, a folder of other settings, or no place to write.
    """
    fingers = tuple(plan.fingers())
    for finger in fingers:
        on_finger(plan.rig, finger)  # a cuff that does not fit is said before, not after an hour
    if _own_files(plan) and "fork" not in multiprocessing.get_all_start_methods():
        workers = 1  # a process that is started anew knows nothing of a user's classes
    store = RunStore(keep, plan.settings()) if keep is not None else None
    point = clamp(plan.rig, NOMINAL_mmHg, plan.rig.tone.level)
    instrument, steps = instrument_of(plan.rig), few_steps(plan.rig, point)
    schedules = tuple(named.schedule for named in plan.schedules)
    runs: dict[tuple[int, int], list[ScheduleRun]] = {}
    places: dict[tuple[str, str], tuple[int, int]] = {}
    jobs: list[Job] = []
    for i, scenario in enumerate(plan.scenarios):
        for j, finger in enumerate(fingers):
            places[scenario, finger.name] = i, j
            if store is not None and (kept := store.load(scenario, finger.name)) is not None:
                runs[i, j] = kept
                continue
            task = Task(plan.rig, instrument, steps, plan.search, schedules, scenario, finger, plan.seconds)
            jobs.append(Job(task, store.path(scenario, finger.name) if store is not None else None))
    reused = len(runs) * len(schedules)
    total = max(len(jobs) * len(schedules) * plan.seconds, 1e-9)
    report = progress or (lambda share: None)
    with closing(run_jobs(jobs, workers, lambda seconds: report(min(seconds / total, 1.0)))) as done:
        for job, found in done:
            runs[places[job.task.scenario, job.task.finger.name]] = found
    return Study(plan, fingers, steps, runs, reused)


def _own_files(thing: Any) -> list[Path]:
    """Users' files behind the classes of a thing and of all that is inside it."""
    if not isinstance(thing, tuple):
        return []
    module = type(thing).__module__
    file = getattr(sys.modules.get(module), "__file__", None) if module.startswith(OWN_MODULE) else None
    return [*([Path(file)] if file else []), *(path for inner in thing for path in _own_files(inner))]
