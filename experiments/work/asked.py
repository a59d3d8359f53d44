"""What was asked for, in words: the command line, or the Python call. It goes into the provenance of every result."""
from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_WORDS: ContextVar[str] = ContextVar("cuffloop_asked", default="")


@contextmanager
def asked(words: str) -> Iterator[bool]:
    """Inside the block this was asked for, unless something outside of it was asked before. Yields whether it was not.

    A command that calls a function of the Python interface is still the command.
    """
    if _WORDS.get():
        yield False
        return
    token = _WORDS.set(words)
    try:
        yield True
    finally:
        _WORDS.reset(token)


def words_asked() -> str:
    """What was asked for; empty when nothing was."""
    return _WORDS.get()
