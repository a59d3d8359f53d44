"""Chunks of work on other machines: handed to a Dask scheduler that somebody has started.

    dask scheduler                                   # on one machine
    dask worker tcp://HOST:8786 --nthreads 1         # on each machine, one for every core, with this project installed

A chunk whose worker has died goes to another one; that is the scheduler's own business.
"""
from __future__ import annotations

import gc
import logging
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from typing import Any

from experiments.work.chunks import code_version
from experiments.work.run import Engine
from plant.errors import InputError
from plant.messages import one_line, value_text

PATIENCE_s = 10  # for an answer of the scheduler


def cluster(address: str) -> Engine:
    """The workers of the Dask scheduler at an address such as `tcp://host:8786`.

    Raises InputError when Dask distributed is not installed; the engine does, when it starts, for a scheduler that
    does not answer or has no workers, or whose workers run another version of this project.
    """
    dask = _distributed()
    lost = dask.scheduler.KilledWorker, dask.comm.CommClosedError, CancelledError
    return Engine(partial(_connected, address), (BrokenExecutor, *lost))


def _distributed() -> Any:
    try:
        return import_module("distributed")
    except ImportError:
        raise InputError("--cluster: needs the package distributed: pip install 'cuffloop[cluster]'") from None


@contextmanager
def _connected(address: str) -> Iterator[Executor]:
    dask, said = _distributed(), f"--cluster {value_text(address)}"
    with _quiet():  # what goes wrong is said here, in one line
        refused = None
        try:
            client = dask.Client(address, timeout=PATIENCE_s, set_as_default=False, name="cuffloop")
        except (OSError, ValueError, TimeoutError) as error:
            refused = one_line(error, 200)
        if refused is not None:
            gc.collect()  # a half-made client closes itself when it is collected: not while another is being made
            raise InputError(f"{said}: no scheduler answers there: {refused}")
        try:
            _check_workers(client, said)
            yield client.get_executor(pure=False)
        finally:
            client.close(timeout=PATIENCE_s)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep Dask's own log of lost connections off the screen."""
    names = [name for name in logging.root.manager.loggerDict if name.partition(".")[0] in ("distributed", "tornado")]
    before = {name: logging.getLogger(name).level for name in names}
    try:
        for name in names:
            logging.getLogger(name).setLevel(logging.CRITICAL)
        yield
    finally:
        for name, level in before.items():
            logging.getLogger(name).setLevel(level)


def _check_workers(client: Any, said: str) -> None:
    """Raise InputError when there are no workers, or they would not compute what this process does."""
    if not client.scheduler_info()["workers"]:
        raise InputError(f"{said}: the scheduler has no workers; start some with: dask worker ADDRESS --nthreads 1")
    try:
        versions = client.run(code_version)
    except Exception as error:  # whatever it is, it happened over there
        raise InputError(f"{said}: a worker cannot load this project: {one_line(error, 200)}") from None
    for worker, found in versions.items():
        if found != code_version():
            raise InputError(f"{said}: worker {worker} has another version of this project or its libraries")
