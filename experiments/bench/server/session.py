"""One tab: its newest request of each kind is answered, older ones are forgotten."""
from __future__ import annotations

import asyncio
import functools
import itertools
import json
import time
from collections.abc import Awaitable, Callable
from concurrent.futures import Executor
from typing import Any

from experiments.bench.answers.kernel import note_at_hand
from experiments.bench.answers.turned import ready_of, turned
from experiments.bench.asked import Asked, Refused, Unwanted, asked_of
from experiments.bench.jobs import JOBS
from experiments.bench.server.aside import Asides, Job
from experiments.bench.setup import Setup
from experiments.bench.wire import Answer, packed
from experiments.work.progress import progress
from plant.errors import InputError
from plant.messages import one_line, value_text

MOST_A_SECOND = 300.0  # messages of a tab; a hand on a slider makes 60 to 120
BURST = 600.0
Sending = Callable[[bytes], Awaitable[None]]
_numbers = itertools.count(1)


class TooMany(Exception):
    """A tab that sends more than any hand can."""


class Session:
    """The requests of one tab."""

    def __init__(self, setup: Setup, sending: Sending, aside: Asides, executor: Executor) -> None:
        self.number = next(_numbers)
        self._setup, self._sending, self._aside, self._executor = setup, sending, aside, executor
        self._pending: dict[str, dict[str, Any]] = {}
        self._some = asyncio.Event()
        self._sendings: set[asyncio.Task[None]] = set()
        self._loop = asyncio.get_running_loop()
        self._credit, self._credited = BURST, time.monotonic()

    def receive(self, text: str) -> None:
        """Take a message. Raises TooMany; what cannot be read gets one line as its answer."""
        self._pay()
        try:
            message = json.loads(text)
        except (ValueError, RecursionError):
            message = None
        if not isinstance(message, dict) or not isinstance(message.get("slot"), str) or len(message["slot"]) > 20:
            self.say(Answer({"error": f"not a request: {value_text(text[:60])}"}))
            return
        if message.get("want") in JOBS:
            self._ask_aside(message["want"], message)
            return
        self._pending.pop(message["slot"], None)
        self._pending[message["slot"]] = message
        self._some.set()

    def say(self, answer: Answer) -> None:
        """Send an answer soon."""
        self._soon(packed(answer))

    def _soon(self, message: bytes) -> None:
        """Send a message; the loop itself holds tasks only weakly."""
        task = self._loop.create_task(self._send(message))
        self._sendings.add(task)
        task.add_done_callback(self._sendings.discard)

    async def answer_all(self) -> None:
        """Answer requests, one after the other, for as long as the tab is open."""
        while True:
            await self._some.wait()
            while self._pending:
                slot = next(iter(self._pending))
                message = self._pending.pop(slot)
                head = {"slot": slot, "number": message.get("number", 0)}
                wanted = functools.partial(self._is_newest, slot)
                answer = await self._loop.run_in_executor(self._executor, answered_while, self._setup, message, wanted)
                if answer is None:
                    continue
                if answer.head.get("strips", {}).get("compile") and not answer.head.get("quick"):
                    self._ask_aside("compile", message | {"slot": f"compile-{slot}"[:20]})
                await self._send(packed(Answer(answer.head | head, answer.arrays)))
            self._some.clear()

    def _is_newest(self, slot: str) -> bool:
        return slot not in self._pending

    def close(self) -> None:
        """The tab has gone."""
        self._aside.forget(self.number)

    def _pay(self) -> None:
        now = time.monotonic()
        self._credit = min(BURST, self._credit + MOST_A_SECOND * (now - self._credited)) - 1.0
        self._credited = now
        if self._credit < 0.0:
            raise TooMany

    def _ask_aside(self, name: str, message: dict[str, Any]) -> None:
        head = {"slot": message["slot"], "number": message.get("number", 0), "want": name}
        try:
            asked = asked_of(self._setup, message)
        except Refused as error:
            self.say(Answer(head | {"error": one_line(error), "key": error.key}))
            return

        def told(answer: bytes, last: bool) -> None:
            self._loop.call_soon_threadsafe(self._pass_on, name, asked, answer, last)

        self._aside.ask((self.number, message["slot"]), Job(name, message, head, told))

    def _pass_on(self, name: str, asked: Asked, answer: bytes, last: bool) -> None:
        if name == "compile" and last:
            self._loop.run_in_executor(self._executor, _noted, asked)
        self._soon(answer)

    async def _send(self, message: bytes) -> None:
        await self._sending(message)


def answered_while(setup: Setup, message: dict[str, Any], wanted: Callable[[], bool]) -> Answer | None:
    """The answer to a request; None where it was no longer `wanted` before it was there.

    A quick answer is always finished: under a hand that never rests there would be no picture else.
    """
    def look(share: float) -> None:
        if not wanted():
            raise Unwanted

    try:
        with progress(None if message.get("dragging") is True else look):
            return answered(setup, message)
    except Unwanted:
        return None


def answered(setup: Setup, message: dict[str, Any]) -> Answer:
    """The answer to a request, or the one line that says why there is none."""
    try:
        return turned(asked_of(setup, message))
    except Refused as error:
        return Answer({"error": one_line(error), "key": error.key})
    except (InputError, ArithmeticError, ValueError) as error:
        return Answer({"error": one_line(error), "key": str(message.get("moved", ""))})


def _noted(asked: Asked) -> None:
    """Take note of a kernel that was compiled aside."""
    try:
        note_at_hand(ready_of(asked))
    except InputError:
        return  # of a rig that cannot clamp there is nothing to run
