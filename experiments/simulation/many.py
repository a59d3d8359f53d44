"""Any number of fingers, each on its rig, every run reduced to a few figures while it goes.

Fingers come one after the other from any iterable; batch by batch they are prepared, run side by side
(`experiments.simulation.lanes`), reduced and forgotten, so that memory does not grow with their number. A finger's
figures do not depend on who runs beside it: the same bits for any batch, any number of workers, processes or threads.
"""
from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from itertools import islice
from typing import TypeVar

import numpy as np

from experiments.rigs.rig import Rig
from experiments.simulation.coupled import DIVERGED
from experiments.simulation.reduced import NEEDED, Figures, Reduction, joined, refused
from experiments.simulation.side_by_side import alike, side_by_side
from experiments.simulation.simulate import USUAL, Plan, Ready, prepare, run_ready
from experiments.subjects.finger import Finger, finger_pressure, on_finger
from plant.errors import InputError

Item = TypeVar("Item")
BATCH = 64  # fingers that are prepared together: four vectors, each long enough under way for what numpy costs


def finger_ready(
    item: tuple[Rig, Finger], seconds: float, plan: Plan = USUAL, substeps: int | None = None
) -> Ready:
    """A finger on a rig, with its own pressure, tone and noise for `seconds`, as `simulate` would run it.

    Without `substeps` each finger's own are found (`steps_a_tick`), which takes as long as ten seconds of run; on one
    rig they hardly differ. Raises InputError.
    """
    rig, finger = item
    trace = finger_pressure(finger, rig.timing.period_s, seconds)
    return prepare(on_finger(rig, finger), trace, plan, finger.seed, substeps)


def run_fingers(
    items: Iterable[Item], ready: Callable[[Item], Ready], executor: Executor | None = None, workers: int = 1,
    batch: int = BATCH, progress: Callable[[int], None] | None = None,
) -> Figures:
    """The figures of all fingers: `each_batch`, joined. `progress` is called with the number of fingers done."""
    found: list[Figures] = []
    done = 0
    for figures in each_batch(items, ready, executor, workers, batch):
        found.append(figures)
        done += len(figures.status)
        if progress is not None:
            progress(done)
    return joined(found or [refused(0)])


def each_batch(
    items: Iterable[Item], ready: Callable[[Item], Ready], executor: Executor | None = None, workers: int = 1,
    batch: int = BATCH,
) -> Iterator[Figures]:
    """Figures batch by batch, in the order of `items`; `ready` makes of an item a run that is ready to begin.

    A finger for which `ready` raises InputError is refused; that is a value, as is one that diverges. Batches are
    computed by `executor`, anything that submits like those of concurrent.futures, twice as many of them under way as
    it has `workers` (`experiments.work.run.local` starts processes); without one, here. For processes `ready` must be
    picklable, and every item: a function of a module, or `functools.partial` of one.
    """
    rest = iter(items)
    batches = iter(lambda: list(islice(rest, batch)), [])
    if executor is None:
        yield from (run_items(ready, some) for some in batches)
        return
    under_way: deque[Future[Figures]] = deque()
    try:
        for some in batches:
            under_way.append(executor.submit(run_items, ready, some))
            if len(under_way) > 2 * workers:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
    finally:
        for future in under_way:
            future.cancel()


def run_items(ready: Callable[[Item], Ready], items: Sequence[Item]) -> Figures:
    """One batch: what a worker does."""
    found: list[Ready | InputError] = []
    for item in items:
        try:
            found.append(ready(item))
        except InputError as error:
            found.append(error)
    return run_batch(found)


def run_batch(fingers: Sequence[Ready | InputError]) -> Figures:
    """Figures of runs that are ready to begin, side by side as far as they can be; of those that cannot, the reason."""
    figures = refused(len(fingers))
    numbers, runs = [], []
    for i, finger in enumerate(fingers):
        if isinstance(finger, InputError):
            figures.message[i] = str(finger)
        else:
            numbers.append(i)
            runs.append(finger)
    for places in alike(runs):
        some, own = [runs[i] for i in places], [numbers[i] for i in places]
        together = side_by_side(some, NEEDED, Reduction)
        if together is not None:
            reduction, lanes = together
            reduction.write(figures, own, lanes.done, lanes.status == DIVERGED)
            continue
        for run, place in zip(some, own, strict=True):
            _run_alone(run, figures, place)
    return figures


def _run_alone(run: Ready, figures: Figures, place: int) -> None:
    reduction, found = Reduction([run]), run_ready(run)
    reduction.add(0, {name: found.channels[name][:, None] for name in NEEDED})
    reduction.write(figures, [place], np.array([len(found.channels["mode"])]), np.array([found.status == "diverged"]))
