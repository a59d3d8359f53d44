"""Answering one page from the process that it is in: what a notebook's kernel does, without a server."""
from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from experiments.bench.answers.kernel import note_at_hand
from experiments.bench.answers.turned import ready_of, warm
from experiments.bench.asked import Refused, asked_of
from experiments.bench.jobs import JOBS
from experiments.bench.server.aside import Asides, Job
from experiments.bench.server.session import answered
from experiments.bench.setup import Setup
from experiments.bench.wire import Answer, packed
from experiments.bench.words import known
from plant.errors import InputError
from plant.messages import one_line


class Replies:
    """The other end of a page's line."""

    def __init__(self, setup: Setup, sending: Callable[[bytes], None]) -> None:
        self._setup, self._sending = setup, sending
        self._asides: Asides | None = None

    def receive(self, text: str) -> None:
        """Answer a message of the page; what takes long is answered later, from a process aside."""
        message: dict[str, Any] = json.loads(text)
        slot = message.get("slot", "")
        if slot == "begin":
            self._begin()
        elif message.get("want") in JOBS:
            self._ask_aside(message["want"], message)
        else:
            answer = answered(self._setup, message)
            if answer.head.get("strips", {}).get("compile") and not answer.head.get("quick"):
                self._ask_aside("compile", message | {"slot": f"compile-{slot}"})
            self._sending(packed(Answer(answer.head | _head(message), answer.arrays)))

    def close(self) -> None:
        """End what runs aside."""
        if self._asides is not None:
            self._asides.close()
            self._asides = None

    def _begin(self) -> None:
        self._say({"slot": "known", **known(self._setup)})
        self._say({"slot": "state", "ready": False, "trouble": ""})
        trouble = ""
        try:
            warm(self._setup, self._setup.rigs[0])
        except InputError as error:
            trouble = one_line(error)
        self._say({"slot": "state", "ready": True, "trouble": trouble})

    def _say(self, head: dict[str, Any]) -> None:
        self._sending(packed(Answer(head)))

    def _ask_aside(self, name: str, message: dict[str, Any]) -> None:
        head = _head(message) | {"want": name}
        try:
            asked = asked_of(self._setup, message)
        except Refused as error:
            self._say(head | {"error": one_line(error), "key": error.key})
            return
        if self._asides is None:
            self._asides = Asides(self._setup)

        def told(answer: bytes, last: bool) -> None:
            if name == "compile" and last:
                try:
                    note_at_hand(ready_of(asked))
                except InputError:
                    return  # of a rig that cannot clamp there is nothing to run
            self._sending(answer)

        self._asides.ask((0, message["slot"]), Job(name, message, head, told))


def _head(message: dict[str, Any]) -> dict[str, Any]:
    return {"slot": message.get("slot", ""), "number": message.get("number", 0)}
