"""Processes in which somebody's firmware runs: one started for a single run, or forks of a host for many.

A process that is started anew imports and loads compiled code for two seconds. A host does so once; every run is a fork
of it, with the firmware loaded afresh, and dies alone. Where the system cannot fork, each run has a process of its own.
"""
from __future__ import annotations

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from typing import Any, Protocol

from experiments.firmware.foreign import child

FORKS = hasattr(os, "fork")
KILL = "kill"


class Running(Protocol):
    """A process as whoever watches it sees it."""

    @property
    def exitcode(self) -> int | None:
        """Its exit status, negative for a signal; None while it runs."""

    def is_alive(self) -> bool:
        """Whether it runs."""

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end, so long at most [s]."""

    def kill(self) -> None:
        """End it."""

    def close(self) -> None:
        """Let go of it."""


def started(function: Callable[..., None], arguments: tuple[Any, ...]) -> Running:
    """A process of its own for a function."""
    process: Any = get_context("spawn").Process(target=function, args=arguments, daemon=True)
    process.start()
    return process  # type: ignore[no-any-return]


class Host:
    """A process whose forks run firmware, as a context; nothing of it is left behind."""

    def __init__(self) -> None:
        self._process: Any = None
        self._door: Connection | None = None

    def __enter__(self) -> Host:
        return self

    def __exit__(self, *_: object) -> None:
        if self._door is not None:
            self._door.close()
            self._process.join(10.0)
            if self._process.is_alive():
                self._process.kill()
                self._process.join()
            self._process.close()
            self._door = self._process = None

    def run(self, arguments: tuple[Any, ...]) -> Running:
        """Start `run_child` with these arguments; one at a time."""
        if not FORKS:
            return started(child.run_child, arguments)
        if self._door is None:
            context = get_context("spawn")
            self._door, other = context.Pipe()
            self._process = context.Process(target=serve, args=(other,))
            self._process.start()
            other.close()
        self._door.send(arguments)
        return Fork(self._door)


class Fork:
    """A run in a fork of a host."""

    def __init__(self, door: Connection) -> None:
        self._door = door
        self.exitcode: int | None = None

    def is_alive(self) -> bool:
        """Whether it runs."""
        self.join(0.0)
        return self.exitcode is None

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end, so long at most [s]."""
        if self.exitcode is None and self._door.poll(timeout):
            try:
                self.exitcode = self._door.recv()
            except (EOFError, ConnectionError):  # the host was ended, and this with it
                self.exitcode = -int(signal.SIGKILL)

    def kill(self) -> None:
        """End it."""
        if self.exitcode is None:
            self._door.send(KILL)

    def close(self) -> None:
        """Nothing is held."""


def serve(door: Connection) -> None:
    """What a host does until its door is closed: fork for each run, and send how that ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who started it decides
    with suppress(EOFError, ConnectionError):
        while True:
            arguments = door.recv()
            if arguments != KILL:  # else the run had ended by itself meanwhile
                child.warm_for(arguments[0])
                door.send(in_fork(child.run_child, arguments, door))


def in_fork(function: Callable[..., None], arguments: tuple[Any, ...], door: Connection) -> int:
    """Run a function in a fork; its exit status. A word through the door, or its closing, ends it before."""
    process: Any = get_context("fork").Process(target=function, args=arguments)
    process.start()
    if door in wait([process.sentinel, door]):
        process.kill()
        with suppress(EOFError, ConnectionError):
            door.recv()
    process.join()
    code: int = process.exitcode
    process.close()
    return code
