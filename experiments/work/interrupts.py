"""Ctrl-C beside compiled code: held back while a kernel runs, and acted on as soon as it returns."""
from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold Ctrl-C back until the end of the block; whatever it does (KeyboardInterrupt as a rule), it does then.

    Numba builds a returned NamedTuple by calling its class, where Python looks for signals; an exception there is
    not expected and ends the process. Only the main thread receives signals, so elsewhere nothing needs to be held.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield
        return
    held: list[tuple[int, FrameType | None]] = []
    signal.signal(signal.SIGINT, lambda number, frame: held.append((number, frame)))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if held:
            before(*held[0])
