"""Many fingers at once: the tick of a loop, or of a protected one, for vectors of fingers.

Every equation, noise sample and delay is that of the single run; only the numbers are vectors, `plant.numerics.vector`.
Fingers side by side share the classes of their parts, whole numbers and switches (bits, sections, transducer place,
whole ticks of dead time); all other parameters are each finger's own, and so is everything about its protection and its
failure.
"""
from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numba.core.errors import TypingError
from numba.extending import overload
from numpy.typing import NDArray

from controller.tick.firmware import FILL, Order
from experiments.simulation.coupled import (
    RUNNING,
    Instant,
    channels_of,
    loop_of,
    ring_of,
    system_decides,
    system_moves,
    system_row,
)
from plant.assembly import Course, Surroundings
from plant.declare import OPTIONS, fused, released
from plant.errors import InputError
from plant.numerics.integrate import selected
from plant.numerics.layout import aligned, laid_out, load_all, load_floats, padded, restored, store_all
from plant.numerics.vector import WIDTH, choose, load, store

Samples = NDArray[np.float64]
USUAL_CHANNELS = ("arterial_mmHg", "cuff_mmHg", "external_mmHg", "light", "reading_mmHg", "command", "limited")
SIGNALS = ("arterial_mmHg", "tone", "ambient", "mode", "fill_mmHg", "set_point", "light_slope")
INPUTS = 3  # the first of them, which have a sample more than there are ticks


class WrittenForOne(InputError):
    """A part of the user's own branches on a value: it runs alone only."""


class LaneState(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    run: Any  # the system's own state, its tick last
    status: int  # RUNNING, or why it has come to an end


class Fields(NamedTuple):
    """The arrays that `run_groups` works on, each of shape (rows, groups, WIDTH)."""

    parameters: Samples  # what is each finger's own of its system, in order
    seeds: NDArray[np.uint64]  # one row
    states: Samples  # LaneState, in order
    pending: Samples  # commands under way, a ring by tick
    table: Samples  # SIGNALS of the block
    trace: Samples  # kept channels, one after the other


class Places(NamedTuple):
    """Where signals and channels are in a block.

    Signal i of tick k is row begins[i] + k · strides[i] of the table; channel c goes to the rows from channels[c] on,
    or nowhere if that is negative.
    """

    begins: NDArray[np.int64]
    strides: NDArray[np.int64]
    channels: NDArray[np.int64]


class Span(NamedTuple):
    """A block of ticks for some groups of fingers."""

    first_group: int
    end_group: int
    first_tick: int
    ticks: int


def keep(row: Any, going: Any, places: Any, trace: Any, tick: int, group: int) -> None:
    """Write the channels that have a place to the trace; nan in lanes that are not going."""
    raise TypeError("for compiled code only")


@overload(keep, jit_options=OPTIONS)
def _keep(row, going, places, trace, tick, group):  # type: ignore[no-untyped-def]
    lines = "".join(
        f"    if places[{i}] >= 0:\n        store(trace, places[{i}] + tick, group, choose(going, row[{i}], NAN))\n"
        for i in range(len(row))
    )
    scope: dict[str, Any] = {"store": store, "choose": choose, "NAN": np.nan}
    exec(f"def kept(row, going, places, trace, tick, group):\n{lines}", scope)
    return scope["kept"]


@fused
def instant(fields: Fields, places: Places, span: Span, seeds: Any, k: int, group: int) -> Instant:
    """What comes to a group of fingers from outside on tick k of a block."""
    table, begins, strides = fields.table, places.begins, places.strides
    around = Surroundings(
        load(table, begins[0] + k * strides[0], group), load(table, begins[1] + k * strides[1], group),
        load(table, begins[2] + k * strides[2], group),
    )
    end = Surroundings(load(table, begins[0] + (k + 1) * strides[0], group), around.tone, around.ambient)  # are held
    order = Order(
        load(table, begins[3] + k * strides[3], group), load(table, begins[4] + k * strides[4], group),
        load(table, begins[5] + k * strides[5], group), load(table, begins[6] + k * strides[6], group),
    )
    return Instant(seeds, span.first_tick + k, Course(around, end), order)


@released
def run_groups(system: Any, model: LaneState, fields: Fields, places: Places, span: Span) -> None:
    """Run a block of ticks for some groups of fingers; `system` and `model` give classes and what is shared.

    A finger that has come to an end keeps its state; its trace is nan from the next tick on.
    """
    for group in range(span.first_group, span.end_group):
        own = load_floats(system, fields.parameters, group)
        lanes = load_all(model, fields.states, group)
        run, status = lanes.run, lanes.status
        seeds = load(fields.seeds, 0, group)  # once: what noise makes of a seed alone is then worked out once too
        for k in range(span.ticks):
            now, going = instant(fields, places, span, seeds, k, group), status < 0.5
            made, told = system_decides(own, now, run, fields.pending, group)
            keep(system_row(own, now, run, told), going, places.channels, fields.trace, k, group)
            after, new_status = system_moves(own, now, run, made)
            run, status = selected(going, after, run), choose(going, new_status, status)
        store_all(LaneState(run, status), fields.states, group)


class Lanes:
    """Fingers that run side by side, block after block, each as if `run_ticks` ran it alone."""

    def __init__(
        self, systems: Sequence[Any], seeds: Sequence[int], starts: Sequence[Any],
        pending: Samples | None = None, channels: Sequence[str] = USUAL_CHANNELS,
    ) -> None:
        """`systems` are loops, or protected ones, one a finger; `starts` their states.

        `pending` is the commands under way at the start, shape (ring, fingers), as `.pending` returns it; none: all
        zero. All runs must have got to the same tick. Raises InputError when fingers differ in what they must share,
        or a channel is not one of the system's.
        """
        self._names = channels_of(systems[0])
        for name in channels:
            if name not in self._names:
                raise InputError(f"channel '{name}' is not known; use some of {', '.join(self._names)}")
        self.count, self.channels, self.tick = len(systems), tuple(channels), starts[0].tick
        self._first_tick = self.tick
        self.groups = -(-self.count // WIDTH)
        states = [LaneState(start, RUNNING) for start in starts]
        self._system, self._model = systems[0], states[0]
        seed_row = aligned(1, self.groups, np.uint64)
        seed_row.reshape(-1)[:] = padded(np.array(seeds, np.uint64), self.groups)
        queue = np.zeros((ring_of(systems[0]), self.count)) if pending is None else pending
        under_way = aligned(len(queue), self.groups)
        under_way.reshape(len(queue), -1)[:] = padded(queue, self.groups)
        self._fields = Fields(
            laid_out(systems, self.groups), seed_row, laid_out(states, self.groups, everything=True), under_way,
            aligned(0, self.groups), aligned(0, self.groups),
        )
        self._signals: dict[str, Any] = {"mode": FILL, "tone": 0.0, "fill_mmHg": 0.0, "set_point": 0.0}
        self._signals |= {"light_slope": 1.0, "arterial_mmHg": 0.0}
        self._signals["ambient"] = np.array([loop_of(one).plant.light.ambient for one in systems])

    def run(self, ticks: int, executor: Executor | None = None, workers: int = 1, **signals: Any) -> dict[str, Samples]:
        """Run a block of ticks. Returns the kept channels by name, each of shape (ticks, fingers).

        Signals by name, as in SIGNALS: one number, one a finger, or an array of shape (ticks, 1) or (ticks, fingers);
        inputs with one row more than there are ticks. One that is left out stays what it was, unless it changed by
        the tick. With an executor of threads the fingers are shared out among so many workers. Raises InputError for
        a signal's name or shape, WrittenForOne for a part of the user's own that was written for one finger only.
        """
        begins, strides = self._laid_in_table(ticks, signals)
        kept = np.full(len(self._names), -1)
        for i, name in enumerate(self.channels):
            kept[self._names.index(name)] = i * ticks
        places = Places(begins, strides, kept)
        trace = aligned(len(self.channels) * ticks, self.groups)
        fields = self._fields._replace(trace=trace)

        def some(first: int, end: int) -> None:
            try:
                run_groups(self._system, self._model, fields, places, Span(first, end, self.tick, ticks))
            except TypingError:
                raise WrittenForOne(
                    "a part of this rig is written for one finger only: where it branches on a value, let it choose "
                    "(plant.numerics.vector.choose), and take exp, atan and log from plant.numerics.elementary"
                ) from None

        if executor is None:
            some(0, self.groups)
        else:
            edges = [self.groups * i // workers for i in range(workers + 1)]
            for share in [executor.submit(some, *pair) for pair in pairwise(edges)]:
                share.result()
        self.tick += ticks
        rows = trace.reshape(len(self.channels), ticks, self.groups * WIDTH)[:, :, : self.count]
        return dict(zip(self.channels, rows, strict=True))

    def _laid_in_table(self, ticks: int, signals: dict[str, Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Put the block's signals into the table; first row of each and rows a tick (0 or 1)."""
        unknown = set(signals) - set(SIGNALS)
        if unknown:
            raise InputError(f"signal '{min(unknown)}' is not known; use some of {', '.join(SIGNALS)}")
        self._signals |= signals
        begins, strides = np.zeros(len(SIGNALS), np.int64), np.zeros(len(SIGNALS), np.int64)
        values, total = [], 0
        for i, name in enumerate(SIGNALS):
            value = np.asarray(self._signals[name], float)
            rows = 1 if value.ndim < 2 else len(value)
            needed = ticks + (i < INPUTS)
            if value.ndim > 2 or rows not in (1, needed) or (value.ndim and value.shape[-1] not in (1, self.count)):
                raise InputError(
                    f"{name} has the shape {value.shape}; for {ticks} ticks of {self.count} fingers use a number, "
                    f"one a finger, or ({needed}, 1) or ({needed}, {self.count})"
                )
            begins[i], strides[i] = total, rows > 1
            total += rows
            values.append(value)
        if len(self._fields.table) < total:
            self._fields = self._fields._replace(table=aligned(total, self.groups))
        table = self._fields.table.reshape(len(self._fields.table), -1)
        for value, begin, end in zip(values, begins, [*begins[1:], total], strict=True):
            table[begin:end, : self.count] = value
            table[begin:end, self.count :] = table[begin:end, self.count - 1 : self.count]
        return begins, strides

    def state(self, finger: int) -> Any:
        """Where one finger has got to, as `run_ticks` would return it."""
        rows = self._fields.states.reshape(len(self._fields.states), -1)
        return restored(self._model, rows[:, finger].tolist()).run

    @property
    def pending(self) -> Samples:
        """Commands under way, shape (whole dead ticks + 2, fingers), a ring by tick."""
        return self._fields.pending.reshape(len(self._fields.pending), -1)[:, : self.count].copy()

    @property
    def status(self) -> NDArray[np.int64]:
        """RUNNING, DIVERGED or, of a protected loop, EMPTIED, one a finger."""
        return np.asarray(self._fields.states[-1].reshape(-1)[: self.count], np.int64)

    @property
    def done(self) -> NDArray[np.int64]:
        """Ticks run, one a finger: all, or until it came to an end."""
        ticks = np.asarray(self._fields.states[-2].reshape(-1)[: self.count], np.int64)
        done: NDArray[np.int64] = ticks - self._first_tick
        return done
