"""Who is told how far the work has come. It changes no number, so it is no argument: it surrounds the call."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Watcher = Callable[[float], None]
_WATCHER: ContextVar[Watcher | None] = ContextVar("cuffloop_progress", default=None)


@contextmanager
def progress(watcher: Watcher | None) -> Iterator[None]:
    """Inside the block `watcher` is called with the share of the work done, 0 … 1, as it proceeds.

        with cuffloop.progress(lambda share: print(f"{100 * share:.0f} %")):
            cuffloop.check("wrist")
    """
    token = _WATCHER.set(watcher)
    try:
        yield
    finally:
        _WATCHER.reset(token)


def part_of(whole: Watcher | None, first: float, last: float) -> Watcher | None:
    """Whom to tell about a piece of the work that is its share `first` … `last`."""
    if whole is None:
        return None
    return lambda share: whole(first + (last - first) * share)


def tell(share: float) -> None:
    """Tell whoever watches, if anybody does."""
    told = _WATCHER.get()
    if told is not None:
        told(share)


def watcher() -> Watcher | None:
    """Whom to tell; None for nobody."""
    return _WATCHER.get()
