"""Signals beside compiled code: held back while a kernel runs, and acted on as soon as it returns."""
from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from types import FrameType
from typing import Any

# Ctrl-C, and what time limits, profilers and service managers send; looking through all takes a fifth of a millisecond
HELD = [int(getattr(signal, name)) for name in (
    "SIGINT", "SIGTERM", "SIGALRM", "SIGHUP", "SIGUSR1", "SIGUSR2", "SIGVTALRM", "SIGPROF") if hasattr(signal, name)]


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold Ctrl-C, and other signals (HELD) that Python code handles, back until the end of the block.

    Whatever a handler does (KeyboardInterrupt as a rule, a time limit's exception), it does then. Numba builds a
    returned NamedTuple by calling its class, where Python looks for signals; an exception there is not expected and
    ends the process with signal 11. Only the main thread handles signals, so elsewhere nothing needs to be held.
    """
    before = _handlers() if threading.current_thread() is threading.main_thread() else {}
    held: dict[int, FrameType | None] = {}
    for number in before:
        signal.signal(number, held.setdefault)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        with ExitStack() as each:  # the exception of one does not lose another
            for number, frame in reversed(held.items()):
                each.callback(before[number], number, frame)


def _handlers() -> dict[int, Any]:
    """The signals that run Python code, and which."""
    found = {number: signal.getsignal(number) for number in HELD}
    return {number: handler for number, handler in found.items() if callable(handler)}
