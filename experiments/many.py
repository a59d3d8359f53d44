"""Any number of fingers, each on its rig, every run reduced to a few figures while it goes.

Fingers come one after the other from any iterable; batch by batch they are prepared, run side by side
(`experiments.lanes`), reduced and forgotten, so that memory does not grow with their number. A finger's figures do not
depend on who runs beside it: the same bits for any batch, any number of workers, processes or threads.
"""
from __future__ import annotations

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import nullcontext
from itertools import chain, islice
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from experiments.coupled import DIVERGED, Inputs
from experiments.finger import Finger, finger_pressure, on_finger
from experiments.lanes import Lanes, Makeup
from experiments.rig import Rig
from experiments.simulate import SATURATED_SHARE, USUAL, Plan, Ready, counted_ticks, plan_modes, prepare
from plant.artery import unloaded_pressure
from plant.declare import released
from plant.errors import InputError
from plant.layout import shared

Samples = NDArray[np.float64]
Item = TypeVar("Item")
BATCH = 64  # fingers that are prepared together: four vectors, each long enough under way for what numpy costs
BLOCK = 250  # ticks from one reduction to the next
CHANNELS = ("arterial_mmHg", "cuff_mmHg", "light", "limited")


class Figures(NamedTuple):
    """What came out, one entry a finger in the order they came.

    Errors are cuff minus arterial pressure, and cuff minus the ideal p_a − p0, over the ticks that count: clamped,
    settled, the record usable, and not yet diverged. NaN where there are none.
    """

    status: NDArray[np.str_]  # 'done', 'saturated', 'diverged', or 'refused': it could not be clamped at all
    message: NDArray[np.object_]  # why it is not 'done'
    done_s: Samples
    counted_s: Samples
    rms_mmHg: Samples
    peak_mmHg: Samples
    bias_mmHg: Samples
    ideal_rms_mmHg: Samples
    ideal_peak_mmHg: Samples
    ideal_bias_mmHg: Samples
    saturation_share: Samples  # of the time that counts
    light: Samples  # mean over the time that counts, fraction of full scale
    highest_mmHg: Samples  # cuff pressure, of the whole run


class Sums(NamedTuple):
    """Running sums and extremes, each of shape (fingers,)."""

    ticks: Samples
    error: Samples
    square: Samples
    peak: Samples
    ideal_error: Samples
    ideal_square: Samples
    ideal_peak: Samples
    limited: Samples
    light: Samples
    highest: Samples


@released
def add_up(
    sums: Sums, arterial: Samples, cuff: Samples, light: Samples, limited: Samples, unloaded: Samples,
    counted: NDArray[np.bool_],
) -> None:
    """Add a block of ticks, every array of shape (ticks, fingers); finger by finger in the order of ticks."""
    for k in range(len(cuff)):
        for i in range(len(sums.ticks)):
            pressure = cuff[k, i]
            if pressure > sums.highest[i]:
                sums.highest[i] = pressure
            if counted[k, i] and pressure == pressure:  # nan once it has diverged
                error = pressure - arterial[k, i]
                ideal = error + unloaded[k, i]
                sums.ticks[i] += 1.0
                sums.error[i] += error
                sums.square[i] += error * error
                sums.peak[i] = max(sums.peak[i], abs(error))
                sums.ideal_error[i] += ideal
                sums.ideal_square[i] += ideal * ideal
                sums.ideal_peak[i] = max(sums.ideal_peak[i], abs(ideal))
                sums.limited[i] += limited[k, i]
                sums.light[i] += light[k, i]


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
    items: Iterable[Item], ready: Callable[[Item], Ready], workers: int | None = None, executor: Executor | None = None,
    batch: int = BATCH, progress: Callable[[int], None] | None = None,
) -> Figures:
    """The figures of all fingers: `each_batch`, joined. `progress` is called with the number of fingers done."""
    found: list[Figures] = []
    done = 0
    for figures in each_batch(items, ready, workers, executor, batch):
        found.append(figures)
        done += len(figures.status)
        if progress is not None:
            progress(done)
    return joined(found)


def joined(parts: Sequence[Figures]) -> Figures:
    """Figures of one batch after the other as one."""
    return Figures(*map(np.concatenate, zip(*(parts or [run_batch([])]), strict=True)))


def each_batch(
    items: Iterable[Item], ready: Callable[[Item], Ready], workers: int | None = None, executor: Executor | None = None,
    batch: int = BATCH,
) -> Iterator[Figures]:
    """Figures batch by batch, in the order of `items`; `ready` makes of an item a run that is ready to begin.

    A finger for which `ready` raises InputError is refused; that is a value, as is one that diverges. `executor` is
    anything that submits like those of concurrent.futures, with so many workers; without one, as many processes of
    this machine (all cores by default) are started if there is more than one batch. For processes `items` and `ready`
    must be picklable: a function of a module, or `functools.partial` of one.
    """
    rest = iter(items)
    batches = iter(lambda: list(islice(rest, batch)), [])
    first = list(islice(batches, 2))
    workers = workers or len(os.sched_getaffinity(0))
    if executor is None and (workers == 1 or len(first) < 2):
        yield from (run_items(ready, some) for some in chain(first, batches))
        return
    under_way: deque[Future[Figures]] = deque()
    with local_processes(workers) if executor is None else nullcontext(executor) as pool:
        try:
            for some in chain(first, batches):
                under_way.append(pool.submit(run_items, ready, some))
                if len(under_way) > 2 * workers:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()
        finally:
            for future in under_way:
                future.cancel()


def local_processes(workers: int) -> ProcessPoolExecutor:
    """Processes of this machine for `each_batch`: BLAS on one thread each, Ctrl-C left to the one that started them."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when a worker loads numpy
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, context, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN))


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
    count = len(fingers)
    figures = Figures(
        np.full(count, "refused", "<U9"), np.full(count, "", object), np.zeros(count), np.zeros(count),
        *(np.full(count, np.nan) for _ in Figures._fields[4:]),
    )
    kin: dict[Any, list[int]] = {}
    for i, finger in enumerate(fingers):
        if isinstance(finger, InputError):
            figures.message[i] = str(finger)
        else:
            alike = shared(_makeup(finger)), finger.plan, finger.ticks, finger.clock.period_s
            kin.setdefault(alike, []).append(i)
    for places in kin.values():
        _run_alike([finger for i in places if isinstance(finger := fingers[i], Ready)], figures, places)
    return figures


def _makeup(run: Ready) -> Makeup:
    return Makeup(run.rig.plant, run.firmware, run.clock)


def _run_alike(runs: list[Ready], figures: Figures, places: list[int]) -> None:
    """Run fingers that can go side by side; their figures go to `places`."""
    plan, ticks, period = runs[0].plan, runs[0].ticks, runs[0].clock.period_s
    lanes = Lanes([_makeup(run) for run in runs], [run.seed for run in runs], [run.start for run in runs],
                  channels=CHANNELS)
    signals: dict[str, Any] = {
        name: np.array([getattr(run, name) for run in runs]) for name in ("fill_mmHg", "set_point", "light_slope")
    }
    modes = plan_modes(plan, ticks, period)
    settled = counted_ticks(plan, modes, period)
    law: Any = unloaded_pressure  # compiled for one tone or for many
    unloaded = [law(run.rig.plant.artery, run.inputs.tone) for run in runs]
    sums = Sums(*(np.full(len(runs), 0.0 if name != "highest" else -np.inf) for name in Sums._fields))
    for first in range(0, ticks, BLOCK):
        end = min(first + BLOCK, ticks)
        inputs = [run.inputs.part(first, end) for run in runs]
        signals |= {name: np.stack([one[i] for one in inputs], 1) for i, name in enumerate(Inputs._fields)}
        kept = lanes.run(end - first, mode=modes[first:end, None], **signals)
        arterial, cuff, light, limited = (np.ascontiguousarray(kept[name]) for name in CHANNELS)
        usable = np.stack([run.trace.usable[first:end] for run in runs], 1)
        add_up(sums, arterial, cuff, light, limited, np.stack([one[first:end] for one in unloaded], 1),
               usable & settled[first:end, None])
    _note(figures, places, sums, np.asarray(lanes.done * period), lanes.status == DIVERGED, period)


def _note(
    figures: Figures, places: list[int], sums: Sums, done_s: Samples, diverged: NDArray[np.bool_], period_s: float
) -> None:
    count = np.where(sums.ticks > 0.0, sums.ticks, np.nan)
    saturation = sums.limited / count
    found = (
        done_s, sums.ticks * period_s, np.sqrt(sums.square / count), sums.peak + 0.0 * count, sums.error / count,
        np.sqrt(sums.ideal_square / count), sums.ideal_peak + 0.0 * count, sums.ideal_error / count, saturation,
        sums.light / count, sums.highest,
    )
    for column, values in zip(figures[2:], found, strict=True):
        column[places] = values
    figures.status[places] = np.where(diverged, "diverged", np.where(saturation > SATURATED_SHARE, "saturated", "done"))
    for i, place in enumerate(places):
        if diverged[i]:
            figures.message[place] = f"the run diverged at {done_s[i]:.3f} s"
        elif saturation[i] > SATURATED_SHARE:
            figures.message[place] = f"at a limit for {100.0 * saturation[i]:.0f} % of the settled clamp"
