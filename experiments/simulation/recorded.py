"""Many runs at once, each handed over whole: what `simulate` returns, with the channels that tracking needs."""
from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.simulation.coupled import DIVERGED
from experiments.simulation.lanes import Lanes
from experiments.simulation.side_by_side import alike, side_by_side
from experiments.simulation.simulate import Ready, Run, finished, plan_modes, run_ready

Samples = NDArray[np.float64]
RECORDED = ("cuff_mmHg", "command", "limited")  # pressure and modes are known beforehand
FEW = 3  # runs that take as long one after the other as a vector of them


def recorded_runs(runs: Sequence[Ready]) -> Iterator[tuple[int, Run]]:
    """The runs, each with its number, side by side as far as they can go; group by group, not in order.

    Channels are at least `arterial_mmHg`, `mode` and RECORDED, and have the bits of `run_ready`.
    """
    for places in alike(runs):
        places.sort(key=lambda i: runs[i].loop.clock.substeps)  # one that needs few steps takes those of its vector
        some = [runs[i] for i in places]
        together = side_by_side(some, RECORDED, Recording) if len(some) >= FEW else None
        for i, place in enumerate(places):
            yield place, run_ready(some[i]) if together is None else together[0].run(i, together[1])


class Recording:
    """Whole channels of some runs."""

    def __init__(self, runs: Sequence[Ready]) -> None:
        self._runs = runs
        shape = len(runs), runs[0].ticks
        self._rows: dict[str, NDArray[Any]] = {
            name: np.empty(shape, bool if name == "limited" else float) for name in RECORDED
        }

    def add(self, first: int, channels: dict[str, Samples]) -> None:
        """Take a block, each channel of shape (ticks, runs), of the ticks from `first` on."""
        for name, rows in self._rows.items():
            block = channels[name]
            rows[:, first : first + len(block)] = (block > 0.5 if name == "limited" else block).T

    def run(self, number: int, lanes: Lanes) -> Run:
        """One of the runs, now that all have come to their ends."""
        ready, done = self._runs[number], int(lanes.done[number])
        channels = {name: rows[number, :done] for name, rows in self._rows.items()}
        channels["arterial_mmHg"] = ready.inputs.arterial_mmHg[:done]
        channels["mode"] = plan_modes(ready.plan, ready.ticks, ready.period_s)[:done]
        return finished(ready, channels, bool(lanes.status[number] == DIVERGED), lanes.state(number))
