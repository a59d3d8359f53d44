"""Tasks of a comparison in this process or in several, with progress; stopped between two requests when asked to."""
from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Generator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, NamedTuple

from experiments.schedule_run import ScheduleRun, Task, run_task
from experiments.schedule_store import save_runs
from plant.errors import InputError

POLL_s = 0.2  # between two looks at the progress


class Job(NamedTuple):
    """A task, and where its runs are kept once they are finished."""

    task: Task
    keep: Path | None


Done = Generator[tuple[Job, list[ScheduleRun]], None, None]


def run_jobs(jobs: list[Job], workers: int, report: Callable[[float], None]) -> Done:
    """Each job with its runs, in the order in which they end. `report` gets the simulated seconds so far.

    What a job comes to depends on nothing but its task. Raises InputError when a place cannot be written or a worker
    was ended from outside; whatever ends it early ends the workers first.
    """
    if workers > 1 and len(jobs) > 1:
        return _in_processes(jobs, min(workers, len(jobs)), report)
    return _here(jobs, report)


def _finish(job: Job, stopped: Callable[[], bool], advance: Callable[[float], None]) -> list[ScheduleRun]:
    runs = run_task(job.task, stopped, advance)
    if job.keep is not None:
        save_runs(job.keep, runs)
    return runs


def _here(jobs: list[Job], report: Callable[[float], None]) -> Done:
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


def _work(job: Job) -> list[ScheduleRun]:
    def advance(seconds: float) -> None:
        with _count.get_lock():
            _count.value += seconds

    return _finish(job, _stop.is_set, advance)


def _in_processes(jobs: list[Job], workers: int, report: Callable[[float], None]) -> Done:
    ways = multiprocessing.get_all_start_methods()
    # a fork shares what is compiled and loaded already, a schedule of the user's own among it
    context: Any = multiprocessing.get_context("fork" if "fork" in ways else None)
    stop, count = context.Event(), context.Value("d", 0.0)
    with ProcessPoolExecutor(workers, context, _start, (stop, count)) as pool:
        waiting: dict[Future[list[ScheduleRun]], Job] = {}
        try:
            waiting = {pool.submit(_work, job): job for job in jobs}
            while waiting:
                done, _ = wait(waiting, POLL_s, FIRST_COMPLETED)
                report(count.value)
                for future in done:
                    yield waiting.pop(future), future.result()
        except BrokenProcessPool:
            raise InputError(
                "a worker process was ended from outside; with too little memory, take fewer --workers") from None
        except BaseException:
            stop.set()
            for future in waiting:
                future.cancel()
            raise
