"""A process beside the server for what takes long: checks, searches, maps, and compiling. The newest request wins.

The page's own answers are worked out in the server's process, a dozen milliseconds each; nothing that is done here can
hold them up.
"""
from __future__ import annotations

import multiprocessing
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any

from experiments.bench.asked import Refused, Unwanted, asked_of, spoken
from experiments.bench.setup import Setup
from experiments.bench.wire import Answer, packed
from experiments.work.progress import progress
from plant.errors import InputError
from plant.messages import one_line

QUICK = ("check", "compile")  # jobs that the page waits for after each turn
DIED = "the process that worked this out has died; another has been started: turn the knob again"
Told = Callable[[bytes, bool], None]  # an answer, and whether it is the job's last
Owner = tuple[int, str]  # a session and what it waits for: of these only the newest request counts


@dataclass(frozen=True)
class Job:
    """One piece of work for the other process."""

    name: str
    message: dict[str, Any]
    head: dict[str, Any]  # put into each answer's head
    told: Told


class Aside:
    """The other process and the requests that wait for it."""

    def __init__(self, setup: Setup) -> None:
        self._setup, self._lock = setup, threading.Lock()
        self._waiting: dict[Owner, Job] = {}
        self._running: tuple[int, Owner, Job] | None = None
        self._number = 0
        self._closed = False
        self._start()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._connection, other = context.Pipe()
        door = sys.modules.get("cuffloop.rooms")  # through it a process finds our packages, whatever lies beside it
        target = work if door is None else door.start_aside
        self._process = context.Process(target=target, args=(other, tuple(self._setup)), daemon=True)
        self._process.start()
        other.close()
        threading.Thread(target=self._listen, args=(self._connection,), daemon=True).start()

    def ask(self, owner: Owner, job: Job) -> None:
        """Queue a job; one of the same owner that waits is forgotten, one that runs is left at its next answer."""
        with self._lock:
            self._waiting.pop(owner, None)
            self._waiting[owner] = job
            self._cancel(owner)
            self._next()

    def forget(self, session: int) -> None:
        """Drop everything that a session has asked for."""
        with self._lock:
            for owner in [o for o in self._waiting if o[0] == session]:
                del self._waiting[owner]
            if self._running is not None and self._running[1][0] == session:
                self._cancel(self._running[1])

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._closed = True
        self._process.terminate()
        self._process.join(2.0)

    def _cancel(self, owner: Owner) -> None:
        if self._running is not None and self._running[1] == owner:
            self._connection.send(("leave", self._running[0]))

    def _next(self) -> None:
        if self._running is None and self._waiting and not self._closed:
            owner = next(iter(self._waiting))
            job = self._waiting.pop(owner)
            self._number += 1
            self._running = (self._number, owner, job)
            self._connection.send(("do", self._number, job.name, job.message, job.head))

    def _listen(self, connection: Connection) -> None:
        """Hand answers on as they come; start the process anew should it die."""
        while True:
            try:
                number, answer, last = connection.recv()
            except (EOFError, OSError):
                break
            with self._lock:
                running = self._running
                if last and running is not None and running[0] == number:
                    self._running = None
                    self._next()
            if running is not None and running[0] == number and answer is not None:
                running[2].told(answer, last)
        with self._lock:
            lost = None if self._closed else self._running
            if not self._closed:
                self._running = None
                self._start()
                self._next()
        if lost is not None:
            lost[2].told(packed(Answer(lost[2].head | {"error": DIED, "key": ""})), True)


class Asides:
    """Two such processes: the verdict does not wait for a map. The second begins when it is first needed."""

    def __init__(self, setup: Setup) -> None:
        self._setup, self._quick = setup, Aside(setup)
        self._long: Aside | None = None

    def ask(self, owner: Owner, job: Job) -> None:
        """Queue a job with whom it belongs to."""
        if job.name in QUICK:
            self._quick.ask(owner, job)
            return
        if self._long is None:
            self._long = Aside(self._setup)
        self._long.ask(owner, job)

    def forget(self, session: int) -> None:
        """Drop everything that a session has asked for."""
        for one in filter(None, (self._quick, self._long)):
            one.forget(session)

    def close(self) -> None:
        """End the processes."""
        for one in filter(None, (self._quick, self._long)):
            one.close()


def work(connection: Connection, setup: tuple[Any, ...]) -> None:
    """The other process: one job after the other, until nobody listens any more."""
    from experiments.work.run import prepare_worker

    prepare_worker()
    own = Setup(*setup)
    while True:
        try:
            order = connection.recv()
            if order[0] == "do":
                _do(connection, own, *order[1:])
        except (EOFError, OSError):
            return


def _do(
    connection: Connection, setup: Setup, number: int, name: str, message: dict[str, Any], head: dict[str, Any]
) -> None:
    """One job; it is left when another is wanted, or its reader has gone: at an answer, or where it tells progress."""
    from experiments.bench.jobs import JOBS

    def look(share: float) -> None:
        if _left(connection, number):
            raise Unwanted

    try:
        with progress(look):
            for answer in JOBS[name](asked_of(setup, message)):
                connection.send((number, packed(Answer(head | answer.head, answer.arrays)), False))
                look(1.0)
    except Unwanted:
        pass
    except InputError as error:
        key = error.key if isinstance(error, Refused) else ""
        connection.send((number, packed(Answer(head | {"error": spoken(error), "key": key})), True))
        return
    except Exception as error:  # whatever it is, the page is told, and the process lives on
        line = f"{type(error).__name__}: {one_line(error)}"
        connection.send((number, packed(Answer(head | {"error": line, "key": ""})), True))
        return
    connection.send((number, packed(Answer(head | {"last": True})), True))


def _left(connection: Connection, number: int) -> bool:
    """Whether the job of that number is no longer wanted."""
    left = False
    while connection.poll():
        order = connection.recv()  # each is taken, also behind one that says to leave
        left = left or order == ("leave", number)
    return left
