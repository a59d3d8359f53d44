"""Independent pieces of work, in chunks, on one process or many: the same results, whoever computes them.

Each chunk is kept on disk as soon as it is done, so a study that was killed at any moment goes on from there and ends
with the same bits. Results must depend on a piece alone, never on its neighbours or on who computes it.
"""
from __future__ import annotations

import math
import multiprocessing
import os
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor, as_completed
from contextlib import AbstractContextManager, nullcontext
from functools import partial
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any, NamedTuple

from experiments.work.chunks import Chunks, code_version, fingerprint
from experiments.work.fitting import is_of, result_type
from experiments.work.interrupts import uninterrupted
from experiments.work.packed import pack, unpack
from plant.errors import InputError

MOST_CHUNKS = 200  # unless their size is given: each costs a file, and what is lost to a kill is one a worker
HERE_s = 2.0  # as long as another process takes to start: what is done by then needs none
TRIES = 3  # workers that may die over one chunk
CAREFUL = 8  # chunks that go one at a time after a death that nobody can be blamed for
MOST_WORKERS = 256
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class Unit(NamedTuple):
    """What a piece of work is, for messages and for Ctrl-C."""

    noun: str = "pieces"
    breakable: bool = False  # may be left at any moment: its function holds signals back around its kernels itself


PIECES = Unit()


class Engine(NamedTuple):
    """Where chunks are computed."""

    start: Callable[[], AbstractContextManager[Executor]]  # may be called again after it has broken
    broken: tuple[type[BaseException], ...] = (BrokenExecutor,)  # what a future raises when its worker has died
    begin_here_s: float = 0.0  # as long, the calling process works itself; infinite: to the end


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def local(workers: int | None = None, prepare: Callable[[], None] | None = None) -> Engine:
    """Processes of this machine, one a core by default. Raises InputError for a count outside 1 … 256.

    `prepare` is called first in each process, instead of `prepare_worker`. The first seconds' work is done in the
    calling process: it compiles what is missing, once, and short work is over before another process has started.
    """
    count = cores() if workers is None else workers
    if not 1 <= count <= MOST_WORKERS:
        raise InputError(f"--workers {count} must be from 1 to {MOST_WORKERS}")
    return Engine(partial(_Pool, count, prepare or prepare_worker), begin_here_s=HERE_s if count > 1 else math.inf)


def run(
    pieces: Sequence[Any], function: Callable[[Any], Any], directory: Path | None = None,
    about: dict[str, Any] | None = None, engine: Engine | None = None, chunk: int | None = None,
    progress: Callable[[float], None] | None = None, unit: Unit = PIECES,
) -> list[Any]:
    """`[function(piece) for piece in pieces]`, in chunks of `chunk` pieces, kept in `directory` as they are done.

    `function` is one of a module, or a `functools.partial` of one; its results are numbers, text, arrays, collections
    or classes declared with `storable`, of the type that it is annotated to return. `about` (plain data) says what the
    study is, for the refusal of another one's folder: function and code are told apart without it. Other pieces are no
    other study: chunks whose pieces are the same are not done again. `progress` gets the share done, and `unit` says
    what a piece is. Raises InputError for a folder of another study, and when workers die again and again; whatever the
    function raises ends the work, and what is done stays. So does Ctrl-C.
    """
    size = chunk or max(1, math.ceil(len(pieces) / MOST_CHUNKS))
    chunks = [pieces[i : i + size] for i in range(0, len(pieces), size)]
    folder = None
    if directory is not None:
        folder = Chunks.open(directory, {
            "about": about or {}, "code": _code(), "content": fingerprint(function),
        })
    names = [fingerprint(list(chunk)) for chunk in chunks] if folder else []
    done: dict[int, list[Any]] = {}
    kind = result_type(function)
    for number, name in enumerate(names):
        results = folder.read(name) if folder else None
        if results is not None and len(results) == len(chunks[number]) and all(is_of(r, kind) for r in results):
            done[number] = results

    def keep(number: int, packed: bytes) -> None:
        with uninterrupted():  # what is on disk is counted
            if folder is not None:
                folder.write(names[number], packed)
            done[number] = unpack(packed)
        if progress is not None:
            progress(len(done) / len(chunks))

    if progress is not None and done:
        progress(len(done) / len(chunks))
    engine = engine or local()
    try:
        _here(function, chunks, done, keep, engine.begin_here_s, unit.breakable)
        _elsewhere(function, chunks, done, keep, engine)
    except KeyboardInterrupt:
        left = f"{sum(map(len, done.values()))} of {len(pieces)} {unit.noun} are done"
        how = "the same command goes on from there" if folder else "nothing was kept, as no folder was named"
        raise KeyboardInterrupt(f"{left}; {how}") from None
    finally:
        if folder is not None and not done:
            folder.leave()
    return [result for number in range(len(chunks)) for result in done[number]]


def _code() -> str:
    """All that shapes the numbers: our sources, the libraries, and a user's own parts (they are in the cache's key)."""
    from plant.declare import cache_directory

    return f"{code_version()} {cache_directory().name}"


def compute(function: Callable[[Any], Any], pieces: Sequence[Any]) -> bytes:
    """The results of one chunk, packed; what a worker does."""
    return pack([function(piece) for piece in pieces])


Keep = Callable[[int, bytes], None]
Done = dict[int, list[Any]]


def _missing(chunks: list[Sequence[Any]], done: Done) -> list[int]:
    return [number for number in range(len(chunks)) if number not in done]


def _here(
    function: Callable[[Any], Any], chunks: list[Sequence[Any]], done: Done, keep: Keep, seconds: float,
    breakable: bool,
) -> None:
    """Chunks one after the other in this process, until the time is up."""
    start = time.perf_counter()
    for turn, number in enumerate(_missing(chunks, done)):
        if time.perf_counter() - start >= seconds:
            return
        results: list[Any] = []
        for piece in chunks[number]:
            # the first may compile for long, and Ctrl-C acts at once there
            with uninterrupted() if (turn or results) and not breakable else nullcontext():
                results.append(function(piece))
        keep(number, pack(results))


def _elsewhere(
    function: Callable[[Any], Any], chunks: list[Sequence[Any]], done: Done, keep: Keep, engine: Engine
) -> None:
    """What is left, on the engine's workers; those that die are replaced, and only their chunks begin anew.

    A death breaks everything under way. After one before which nothing was finished, a few chunks go one at a time,
    which tells the one to blame from its neighbours.
    """
    deaths: Counter[int] = Counter()
    one_at_a_time = False
    while missing := sorted(_missing(chunks, done), key=lambda number: deaths[number]):
        alone = missing[0]
        try:
            with engine.start() as executor:
                if one_at_a_time:
                    for alone in missing[:CAREFUL]:
                        keep(alone, executor.submit(compute, function, chunks[alone]).result())
                else:
                    _together(executor, function, chunks, missing, keep, engine.broken)
            one_at_a_time = False
        except engine.broken as error:
            deaths[alone] += one_at_a_time
            if deaths[alone] == TRIES:
                raise InputError(
                    f"the workers died {TRIES} times over chunk {alone} ({type(error).__name__}); is there enough "
                    "memory? try fewer of them with --workers"
                ) from None
            one_at_a_time = len(_missing(chunks, done)) == len(missing)


def _together(
    executor: Executor, function: Callable[[Any], Any], chunks: list[Sequence[Any]], numbers: list[int], keep: Keep,
    broken: tuple[type[BaseException], ...],
) -> None:
    """All these chunks at once. A death is raised when all that can be kept has been."""
    futures = {executor.submit(compute, function, chunks[number]): number for number in numbers}
    death: BaseException | None = None
    for future in as_completed(futures):
        try:
            packed = future.result()
        except broken as error:
            death = error
        else:
            keep(futures[future], packed)
    if death is not None:
        raise death


class _Pool(ProcessPoolExecutor):
    """Fresh processes with BLAS on one thread, which end with their parent, however it ends."""

    def __init__(self, workers: int, prepare: Callable[[], None]) -> None:
        self._strangers = set(multiprocessing.active_children())
        super().__init__(workers, multiprocessing.get_context("spawn"), initializer=prepare)

    def __exit__(self, kind: type[BaseException] | None, *rest: Any) -> bool | None:
        if kind is None:
            return super().__exit__(kind, *rest)
        self.shutdown(wait=False, cancel_futures=True)
        for child in set(multiprocessing.active_children()) - self._strangers:
            child.terminate()
        return None


def prepare_worker() -> None:
    """First thing in a worker, before NumPy loads."""
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole group; the parent decides
    threading.Thread(target=_follow_parent, daemon=True).start()


def _follow_parent() -> None:
    """End with the parent: a worker whose parent was killed would wait for work for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
