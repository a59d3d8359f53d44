"""A study of search strategies over many fingers: in worker processes, chunk by chunk, to be interrupted and resumed.

With a folder, each finished chunk is a file of its own in `FOLDER/parts`, written whole or not at all; the same command
goes on from there, also after the process was killed. More fingers may be asked for later: what is there is kept. Parts
of a study with other settings, or of another version of the code, are refused. Each finger is simulated by itself, so
the numbers do not depend on the number of workers.
"""
from __future__ import annotations

import hashlib
import json
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib.metadata import version
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Any, NamedTuple

from experiments.finger import DEFECTS, Finger
from experiments.interrupts import uninterrupted
from experiments.output import whole_file
from experiments.population import sample_fingers, spoil
from experiments.rig import load_rig
from experiments.search_unit import Bench, Plan, Row, make_bench, study_finger
from experiments.strategies import source_digest
from plant.declare import ROOMS, cache_directory
from plant.errors import InputError

CHUNK = 4  # fingers
LOOK_s = 0.2  # between looks whether Ctrl-C was pressed
PARTS = "parts"
SETTINGS = "settings.json"
LOOKS_ONLY = ("figure", "command.py", "_job.py", "_report.py", "jobs.py")  # files that no number depends on
MOST_WORKERS = 256
Progress = Callable[[float], None] | None


class Chunk(NamedTuple):
    """A few fingers that are done together."""

    name: str  # of its file, without ending
    fingers: tuple[Finger, ...]


def chunks_of(plan: Plan) -> list[Chunk]:
    """The fingers of a study in chunks: the measurable ones, then each kind of spoiled ones. Raises InputError."""
    fingers = sample_fingers(max(plan.fingers, plan.spoiled), plan.group, plan.seed)
    kinds = {"measurable": fingers[: plan.fingers]}
    kinds |= {defect: [spoil(f, defect) for f in fingers[: plan.spoiled]] for defect in DEFECTS}
    return [
        Chunk(f"{kind}-{first:06d}-{len(some)}", some)
        for kind, members in kinds.items() for first in range(0, len(members), CHUNK)
        for some in (tuple(members[first : first + CHUNK]),)
    ]


def run_study(plan: Plan, folder: Path | None = None, workers: int = 1, progress: Progress = None) -> list[Row]:
    """All rows of a study: by finger, then by strategy. `progress` is called with the share done.

    Raises InputError for bad input or for a folder with parts of another study; KeyboardInterrupt, with a word on
    what is kept, when interrupted.
    """
    chunks = chunks_of(plan)
    parts = _check_parts(plan, folder) if folder else None
    done = {c.name: rows for c in chunks if parts and (rows := _read_part(parts, c, plan)) is not None}
    waiting = [c for c in chunks if c.name not in done]
    total = max(sum(len(c.fingers) for c in chunks), 1)
    finished = total - sum(len(c.fingers) for c in waiting)
    try:
        for chunk, rows in _worked(plan, waiting, workers):
            if parts:
                _write_part(parts, plan, chunk, rows)
            done[chunk.name] = rows
            finished += len(chunk.fingers)
            if progress:
                progress(finished / total)
    except KeyboardInterrupt:
        kept = f"{finished} of {total} fingers are kept in {folder}; the same command goes on from there"
        raise KeyboardInterrupt(kept if parts and finished else "") from None
    return [row for c in chunks for row in done[c.name]]


# --- working ---------------------------------------------------------------------------------------------------------


def _worked(plan: Plan, chunks: list[Chunk], workers: int) -> Iterator[tuple[Chunk, list[Row]]]:
    """Chunks as they are finished."""
    if not chunks:
        return
    bench = make_bench(plan)  # complains here, and compiles once for all workers
    if workers == 1 or len(chunks) == 1:
        for chunk in chunks:
            yield chunk, _work(bench, chunk)
        return
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # before the workers load NumPy: one fit took thirty times as long without
    context = get_context("spawn")
    stop = context.Event()
    pool = ProcessPoolExecutor(min(workers, len(chunks)), context, _start_worker, (plan, stop))
    try:
        with _interrupts_blocked():  # workers start with it and keep it
            running = {pool.submit(_work_here, chunk): chunk for chunk in chunks}
        while running:
            with uninterrupted():  # an exception inside would leave the futures' locks behind
                ready, _ = wait(running, LOOK_s, FIRST_COMPLETED)
            for future in ready:
                yield running.pop(future), future.result()
    except BrokenProcessPool:
        raise InputError("a worker process was killed, perhaps for want of memory; try --workers 1") from None
    finally:
        with uninterrupted():
            stop.set()
            pool.shutdown(wait=True, cancel_futures=True)


def _work(bench: Bench, chunk: Chunk) -> list[Row]:
    return [row for finger in chunk.fingers for row in study_finger(bench, finger)]


@contextmanager
def _interrupts_blocked() -> Iterator[None]:
    """Ctrl-C is the parent's business: a worker hit by it while it takes up work would leave a lock behind.

    What comes meanwhile is held back, not lost. Processes started inside never see one, where the system has masks.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_bench: Bench | None = None  # a worker's own
_stop: Any = None  # set when no more is wanted


def _start_worker(plan: Plan, stop: Any) -> None:
    """A worker does not outlive a parent that was killed."""
    global _bench, _stop
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_follow_parent, daemon=True).start()
    _bench, _stop = make_bench(plan), stop


def _follow_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work_here(chunk: Chunk) -> list[Row]:
    assert _bench is not None
    rows: list[Row] = []
    for finger in chunk.fingers:
        if _stop.is_set():
            return []  # to nobody: the parent has gone on
        rows += study_finger(_bench, finger)
    return rows


# --- parts -----------------------------------------------------------------------------------------------------------


def settings_of(plan: Plan) -> dict[str, Any]:
    """What must be the same for parts to belong together: all but the number of fingers."""
    return {
        "rig": load_rig(plan.rig, list(plan.settings)).tables, "group": plan.group, "seed": plan.seed,
        "substeps": plan.substeps, "strategies": {name: source_digest(name) for name in plan.strategies},
        "libraries": {name: version(name) for name in ("numpy", "scipy", "numba")}, "code": code_digest(),
    }


def code_digest() -> str:
    """A digest of all sources that a number may depend on, a user's own parts among them."""
    digest = hashlib.sha256(cache_directory().name.encode())
    top = Path(__file__).resolve().parent.parent
    for path in sorted(p for room in ROOMS for p in (top / room).glob("**/*.py")):
        if not (path.name.startswith(LOOKS_ONLY[0]) or path.name.endswith(LOOKS_ONLY[1:])):
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:20]


def _check_parts(plan: Plan, folder: Path) -> Path:
    """The folder of the parts. Raises InputError when there are some of another study."""
    parts, wanted = folder / PARTS, json.loads(json.dumps(settings_of(plan)))
    if not (parts / SETTINGS).exists():
        return parts
    try:
        there = json.loads((parts / SETTINGS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        there = {}
    differing = [key for key in wanted if not isinstance(there, dict) or there.get(key) != wanted[key]]
    if differing:
        raise InputError(f"--out {folder}: holds parts of another study (other {', '.join(differing)}); name another "
                         f"folder, or delete {parts}")
    return parts


def _read_part(parts: Path, chunk: Chunk, plan: Plan) -> list[Row] | None:
    """The rows of a finished chunk; None when it has to be done (again)."""
    path = parts / f"{chunk.name}.json"
    try:
        rows = [Row(*values) for values in json.loads(path.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError):
        return None
    wanted = [(f.name, strategy) for f in chunk.fingers for strategy in plan.strategies]
    return rows if [(r.finger, r.strategy) for r in rows] == wanted else None


def _write_part(parts: Path, plan: Plan, chunk: Chunk, rows: list[Row]) -> None:
    """Keep a finished chunk, and before the first one what all of them belong to."""
    try:
        parts.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"--out {parts}: {error.strerror or error}") from None
    if not (parts / SETTINGS).exists():
        with whole_file(parts / SETTINGS, "--out ") as temporary:
            temporary.write_text(json.dumps(settings_of(plan), indent=1), encoding="utf-8")
    with whole_file(parts / f"{chunk.name}.json", "--out ") as temporary:
        temporary.write_text(json.dumps([list(row) for row in rows]), encoding="utf-8")  # numbers to their last bit
