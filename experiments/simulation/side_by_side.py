"""Runs that are ready to begin, side by side: who can go with whom, and block after block of ticks for those.

A run has the bits that it has alone, whoever goes beside it (`experiments.simulation.lanes`).
"""
from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from experiments.simulation.lanes import Lanes, WrittenForOne
from experiments.simulation.simulate import Ready, plan_modes
from plant.assembly import Inputs
from plant.numerics.layout import shared

Samples = NDArray[np.float64]
BLOCK = 250  # ticks from one look at the channels to the next


class Keeper(Protocol):
    """What takes the channels of some runs while they go."""

    def add(self, first: int, channels: dict[str, Samples]) -> None:
        """Take the channels, each of shape (ticks, runs), of the ticks from `first` on."""


Kept = TypeVar("Kept", bound=Keeper)
_alone: set[Any] = set()  # loops with a part of the user's own that was written for one finger: found out once


def alike(runs: Sequence[Ready]) -> list[list[int]]:
    """Numbers of the runs that can go together, in order."""
    return of_a_kind([(shared(run.loop), run.plan, run.ticks, run.period_s) for run in runs])


def of_a_kind(keys: Sequence[Any]) -> list[list[int]]:
    """Numbers of those with the same key, in order."""
    kinds: dict[Any, list[int]] = {}
    for i, key in enumerate(keys):
        kinds.setdefault(key, []).append(i)
    return list(kinds.values())


def side_by_side(
    runs: Sequence[Ready], channels: Sequence[str], keeper: Callable[[Sequence[Ready]], Kept]
) -> tuple[Kept, Lanes] | None:
    """Run some that are alike to their ends; `keeper(runs)` takes the channels.

    Returns the keeper, and the lanes for who diverged and when. None when a part of theirs was written for one finger:
    each has to run alone.
    """
    loops, ticks = [run.loop for run in runs], runs[0].ticks
    kind = shared(loops[0])
    if kind in _alone:
        return None
    kept, modes = keeper(runs), plan_modes(runs[0].plan, ticks, runs[0].period_s)
    lanes = Lanes(loops, [run.seed for run in runs], [run.start for run in runs], channels=channels)
    signals: dict[str, Any] = {
        name: np.array([getattr(run, name) for run in runs]) for name in ("fill_mmHg", "set_point", "light_slope")
    }
    for first in range(0, ticks, BLOCK):
        end = min(first + BLOCK, ticks)
        inputs = [run.inputs.part(first, end) for run in runs]
        signals |= {name: np.stack([one[i] for one in inputs], 1) for i, name in enumerate(Inputs._fields)}
        signals["mode"] = modes[first:end, None]
        try:
            found = lanes.run(end - first, **signals)
        except WrittenForOne:
            _alone.add(kind)
            return None
        kept.add(first, found)
    return kept, lanes
