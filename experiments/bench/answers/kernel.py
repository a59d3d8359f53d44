"""Whether the compiled kernel of a run is at hand: one that is not would hold everything up for half a minute."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.simulation.simulate import Ready, run_ready

_AT_HAND: set[Any] = set()  # layouts whose kernel is in this process, or in the cache that it shares with another


def layout(value: Any) -> Any:
    """What a kernel is compiled for: the classes of a run's parts, the types of their numbers, dimensions of arrays.

    As Numba sees them, found in a twentieth of the time that asking Numba takes.
    """
    if isinstance(value, tuple):
        return (type(value), *(layout(item) for item in value))
    if isinstance(value, np.ndarray):
        return (value.dtype.char, value.ndim)
    return type(value)


def run_layout(ready: Ready) -> Any:
    """Of a run: its loop, and its state, which has as many line pressures as the tube has sections."""
    return layout((ready.loop, ready.start))


def is_at_hand(ready: Ready) -> bool:
    """Whether a run can begin at once."""
    return run_layout(ready) in _AT_HAND


def note_at_hand(ready: Ready) -> None:
    """Take note that the kernel of such runs is in the cache: another process has compiled it."""
    _AT_HAND.add(run_layout(ready))


def load(ready: Ready) -> None:
    """Compile the kernel of a run, or read it from the cache."""
    run_ready(ready)
    note_at_hand(ready)
