"""Schedules × scenarios × fingers on all cores: the same bits whatever the number of workers, and resumable."""
from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from calibrate.protocol import Instrument
from experiments.finger import Finger
from experiments.output import whole_file
from experiments.rig import Rig
from experiments.schedule_names import NamedSchedule, NamedSearch
from experiments.schedule_run import BATCH, Batch, ScheduleRun, run_batch
from plant.declare import ROOMS
from plant.errors import InputError

POLL_s = 0.2  # between two looks at the progress
SHARES = 4  # batches for each worker at least, so that none waits long for the last one
OWN_MODULE = "own_part_"  # beginning of the module names of users' own files


class StudyPlan(NamedTuple):
    """What is compared."""

    rig: Rig
    instrument: Instrument
    search: NamedSearch
    schedules: tuple[NamedSchedule, ...]
    scenarios: tuple[str, ...]
    fingers: tuple[Finger, ...]
    seconds: float


Key = tuple[int, int, int]  # of schedule, scenario, finger


@dataclass(frozen=True)
class Study:
    """All runs of a plan."""

    plan: StudyPlan
    runs: dict[Key, ScheduleRun]
    reused: int  # runs that were there already

    def figures(self) -> np.ndarray[Any, np.dtype[np.float64]]:
        """(schedules, scenarios, fingers, METRICS)."""
        shape = (len(self.plan.schedules), len(self.plan.scenarios), len(self.plan.fingers))
        flat = [self.runs[key].figures for key in np.ndindex(*shape)]
        return np.array(flat, float).reshape(*shape, -1)


class RunStore:
    """A folder with one file a run, written whole or not at all, and named after everything that shapes the run."""

    def __init__(self, folder: Path, plan: StudyPlan) -> None:
        self._folder = folder
        rig = f"{plan.rig!r}{plan.instrument!r}{plan.search.search!r}{plan.seconds!r}"
        self._common = f"{source_digest(plan.rig, plan.search.search)}{rig}"
        self._schedules = {id(s.schedule): f"{s.schedule!r}{source_digest(s.schedule)}" for s in plan.schedules}
        folder.mkdir(parents=True, exist_ok=True)

    def path(self, named: NamedSchedule, scenario: str, finger: Finger) -> Path:
        """Where a run is kept."""
        text = f"{self._common}{self._schedules[id(named.schedule)]}{scenario}{finger!r}"
        return self._folder / f"{hashlib.sha256(text.encode()).hexdigest()[:32]}.npz"


def source_digest(*things: Any) -> str:
    """Hash of all sources and libraries that shape a run, and of the users' files that these things come from."""
    digest = hashlib.sha256()
    for library in ("numba", "numpy", "scipy"):
        digest.update(f"{library} {version(library)}\n".encode())
    top = Path(__file__).resolve().parent.parent
    for path in (p for room in ROOMS for p in sorted((top / room).rglob("*.py"))):
        digest.update(f"{path.name}\n".encode() + path.read_bytes())
    for path in sorted({path for thing in things for path in _own_files(thing)}):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _own_files(thing: Any) -> Iterator[Path]:
    """Users' files behind the classes of a thing and of what is inside it."""
    import sys

    if not isinstance(thing, tuple):
        return
    module = type(thing).__module__
    if module.startswith(OWN_MODULE) and (file := getattr(sys.modules.get(module), "__file__", None)):
        yield Path(file)
    for inner in thing:
        yield from _own_files(inner)


def load_run(path: Path) -> ScheduleRun | None:
    """A run that was kept; None when there is none, or none that can be read."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            words = json.loads(str(kept["words"]))
            return ScheduleRun(
                kept["figures"], kept["course"], words["ended"], tuple((float(t), str(w)) for t, w in words["marks"]),
                tuple((float(t), str(w), float(m), str(y)) for t, w, m, y in words["diary"]),
            )
    except Exception:  # not there or damaged: a zip file has many ways to say so
        return None


def save_run(path: Path, run: ScheduleRun) -> None:
    """Keep a run, whole or not at all. Raises InputError when the place cannot be written."""
    words = json.dumps({"ended": run.ended, "marks": run.marks, "diary": run.diary}, ensure_ascii=False)
    with whole_file(path, "--out ") as temporary, temporary.open("wb") as file:
        np.savez_compressed(file, figures=run.figures, course=run.course, words=np.array(words))


class _Job(NamedTuple):
    batch: Batch
    keys: tuple[Key, ...]
    paths: tuple[Path, ...]  # none when nothing is kept


Done = Generator[tuple[_Job, list[ScheduleRun]], None, None]


def run_study(
    plan: StudyPlan, workers: int = 1, keep: Path | None = None, progress: Callable[[float], None] | None = None
) -> Study:
    """Run all that is not in the folder `keep` yet. `progress` is called with the share of simulated time done.

    Ctrl-C leaves whole files in `keep`; the same call then goes on with what is missing. Raises InputError for a finger
    that the rig cannot take, or when the place cannot be written.
    """
    store = RunStore(keep, plan) if keep is not None else None
    paths: dict[Key, Path] = {}
    runs: dict[Key, ScheduleRun] = {}
    for key in np.ndindex(len(plan.schedules), len(plan.scenarios), len(plan.fingers)):
        i, j, k = key
        if store is not None:
            paths[i, j, k] = store.path(plan.schedules[i], plan.scenarios[j], plan.fingers[k])
            if (run := load_run(paths[i, j, k])) is not None:
                runs[i, j, k] = run
    reused = len(runs)
    jobs = list(_jobs(plan, runs, paths, workers))
    seconds = sum(len(job.keys) for job in jobs) * plan.seconds
    report = progress or (lambda share: None)
    if workers > 1 and len(jobs) > 1 and _can_share(plan):
        done = _in_processes(jobs, min(workers, len(jobs)), lambda s: report(min(s / seconds, 1.0)))
    else:
        done = _here(jobs, lambda s: report(min(s / seconds, 1.0)))
    with closing(done):  # however this ends, so do the workers
        for job, found in done:
            runs.update(zip(job.keys, found, strict=True))
    return Study(plan, runs, reused)


def _jobs(plan: StudyPlan, runs: dict[Key, ScheduleRun], paths: dict[Key, Path], workers: int) -> Iterator[_Job]:
    """What is left to do; schedules innermost, so that the story of a finger is told once for all of them."""
    combinations = len(plan.schedules) * len(plan.scenarios)
    size = max(1, min(BATCH, combinations * len(plan.fingers) // (SHARES * workers)))
    for j, scenario in enumerate(plan.scenarios):
        for first in range(0, len(plan.fingers), size):
            for i, named in enumerate(plan.schedules):
                keys = [(i, j, k) for k in range(first, min(first + size, len(plan.fingers)))]
                keys = [key for key in keys if key not in runs]
                if keys:
                    fingers = tuple(plan.fingers[key[2]] for key in keys)
                    batch = Batch(plan.rig, plan.instrument, plan.search.search, named.schedule, scenario, fingers,
                                  plan.seconds)
                    yield _Job(batch, tuple(keys), tuple(paths[key] for key in keys if key in paths))


def _can_share(plan: StudyPlan) -> bool:
    """Whether other processes can be given the plan: a user's own classes only reach forked ones."""
    things = (plan.rig, plan.search.search, *(s.schedule for s in plan.schedules))
    return "fork" in multiprocessing.get_all_start_methods() or not any(True for t in things for _ in _own_files(t))


def _finish(job: _Job, stopped: Callable[[], bool], advance: Callable[[float], None]) -> list[ScheduleRun]:
    found = run_batch(job.batch, stopped, advance)
    for path, run in zip(job.paths, found, strict=False):
        save_run(path, run)
    return found


def _here(jobs: list[_Job], report: Callable[[float], None]) -> Done:
    total = 0.0

    def advance(seconds: float) -> None:
        nonlocal total
        total += seconds
        report(total)

    for job in jobs:
        yield job, _finish(job, lambda: False, advance)


# --- in other processes -----------------------------------------------------------------------------------------------

_stop: Any = None  # of this process, set as it starts: an event, and the simulated seconds of all processes
_count: Any = None


def _start(stop: Any, count: Any) -> None:
    """Begin as a worker: Ctrl-C is the parent's business, and without a parent there is nothing to do."""
    global _stop, _count
    _stop, _count = stop, count
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)


def _work(job: _Job) -> list[ScheduleRun]:
    def advance(seconds: float) -> None:
        with _count.get_lock():
            _count.value += seconds

    return _finish(job, _stop.is_set, advance)


def _in_processes(jobs: list[_Job], workers: int, report: Callable[[float], None]) -> Done:
    """Each job with its runs, in the order in which they end."""
    ways = multiprocessing.get_all_start_methods()
    context: Any = multiprocessing.get_context("fork" if "fork" in ways else None)
    stop, count = context.Event(), context.Value("d", 0.0)
    with ProcessPoolExecutor(workers, context, _start, (stop, count)) as pool:
        try:
            waiting: dict[Future[list[ScheduleRun]], _Job] = {pool.submit(_work, job): job for job in jobs}
            while waiting:
                done, _ = wait(waiting, POLL_s, FIRST_COMPLETED)
                report(count.value)
                for future in done:
                    yield waiting.pop(future), future.result()
        except BrokenProcessPool:
            raise InputError("a worker process was ended from outside; with too little memory, take fewer --workers"
                             ) from None
        except BaseException:
            stop.set()
            for future in waiting:
                future.cancel()
            raise
