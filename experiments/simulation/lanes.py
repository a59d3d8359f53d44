"""Many fingers at once: the loop of `experiments.simulation.coupled`, compiled once more for vectors of fingers.

Every equation, noise sample and delay is that of the single run; only the numbers are `plant.vector`'s. Fingers side by
side share the classes of their parts, whole numbers and switches (bits, sections, transducer place, whole ticks of dead
time); all other parameters are each finger's own.
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

from controller.tick.firmware import FILL, Firmware, FirmwareState, Order
from experiments.simulation.coupled import CHANNELS, DIVERGED, RUNNING, Clock, RunState, firmware_part, plant_part
from plant.assembly import Plant, PlantState, Surroundings
from plant.declare import OPTIONS, released
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


class Makeup(NamedTuple):
    """What one finger's loop is made of."""

    plant: Plant
    firmware: Firmware
    clock: Clock


class LaneState(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    plant: PlantState
    firmware: FirmwareState
    played: float  # valve command behind its hysteresis, now in force
    running: float  # 1, or 0 once it has diverged
    done: float  # ticks


class Fields(NamedTuple):
    """The arrays that `run_groups` works on, each of shape (rows, groups, WIDTH)."""

    parameters: Samples  # the floats of Makeup, in order
    seeds: NDArray[np.uint64]  # one row
    states: Samples  # LaneState, in order
    pending: Samples  # commands under way, a ring by tick
    table: Samples  # SIGNALS of the block
    trace: Samples  # kept channels, one after the other


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


@released
def run_groups(
    makeup: Makeup, model: LaneState, fields: Fields, first_group: int, end_group: int, first_tick: int, ticks: int,
    begins: NDArray[np.int64], strides: NDArray[np.int64], places: NDArray[np.int64],
) -> None:
    """Run a block of ticks for some groups of fingers; `makeup` and `model` give classes and what is shared.

    Signal i of tick k is row begins[i] + k · strides[i] of the table; channel c goes to the rows from places[c] on, or
    nowhere if that is negative. A finger that has diverged keeps its state; its trace is nan from the next tick on.
    """
    ring, table = len(fields.pending), fields.table
    for group in range(first_group, end_group):
        plant, firmware, clock = load_floats(makeup, fields.parameters, group)
        seed = load(fields.seeds, 0, group)
        state, control, played, running, done = load_all(model, fields.states, group)
        for k in range(ticks):
            tick, going = first_tick + k, running > 0.5
            around = Surroundings(
                load(table, begins[0] + k * strides[0], group), load(table, begins[1] + k * strides[1], group),
                load(table, begins[2] + k * strides[2], group),
            )
            end = Surroundings(
                load(table, begins[0] + (k + 1) * strides[0], group), around.tone, around.ambient)  # they are held
            order = Order(
                load(table, begins[3] + k * strides[3], group), load(table, begins[4] + k * strides[4], group),
                load(table, begins[5] + k * strides[5], group), load(table, begins[6] + k * strides[6], group),
            )
            previous = load(fields.pending, (tick + ring - 1) % ring, group)
            new_control, command, row = firmware_part(
                plant, firmware, clock, seed, tick, around, order, state, control, previous)
            store(fields.pending, tick % ring, group, command)
            keep(row, going, places, fields.trace, k, group)
            due = load(fields.pending, (tick + ring - clock.whole_ticks) % ring, group)
            after, arriving, sound = plant_part(plant, clock, seed, tick, around, end, state, played, due)
            state, control = selected(going, after, state), selected(going, new_control, control)
            played = choose(going, arriving, played)
            done = done + running
            running = choose(sound, running, 0.0)
        store_all(LaneState(state, control, played, running, done), fields.states, group)


class Lanes:
    """Fingers that run side by side, block after block, each as if `run_ticks` ran it alone."""

    def __init__(
        self, makeups: Sequence[Makeup], seeds: Sequence[int], starts: Sequence[RunState],
        pending: Samples | None = None, channels: Sequence[str] = USUAL_CHANNELS,
    ) -> None:
        """`pending` is the commands under way at the start, shape (whole dead ticks + 2, fingers); none: all zero.

        All runs must have got to the same tick. Raises InputError when fingers differ in what they must share, or a
        channel is not one of CHANNELS.
        """
        for name in channels:
            if name not in CHANNELS:
                raise InputError(f"channel '{name}' is not known; use some of {', '.join(CHANNELS)}")
        self.count, self.channels, self.tick = len(makeups), tuple(channels), starts[0].tick
        self._first_tick = self.tick
        self.groups = -(-self.count // WIDTH)
        states = [LaneState(s.plant, s.firmware, float(s.played), 1.0, 0.0) for s in starts]
        self._makeup, self._model = makeups[0], states[0]
        seed_row = aligned(1, self.groups, np.uint64)
        seed_row.reshape(-1)[:] = padded(np.array(seeds, np.uint64), self.groups)
        under_way = aligned(makeups[0].clock.whole_ticks + 2, self.groups)
        under_way[:] = 0.0
        if pending is not None:
            under_way.reshape(len(under_way), -1)[:] = padded(pending, self.groups)
        self._fields = Fields(
            laid_out(makeups, self.groups), seed_row, laid_out(states, self.groups, everything=True), under_way,
            aligned(0, self.groups), aligned(0, self.groups),
        )
        self._signals: dict[str, Any] = {"mode": FILL, "tone": 0.0, "fill_mmHg": 0.0, "set_point": 0.0}
        self._signals |= {"light_slope": 1.0, "arterial_mmHg": 0.0}
        self._signals["ambient"] = np.array([makeup.plant.light.ambient for makeup in makeups])

    def run(self, ticks: int, executor: Executor | None = None, workers: int = 1, **signals: Any) -> dict[str, Samples]:
        """Run a block of ticks. Returns the kept channels by name, each of shape (ticks, fingers).

        Signals by name, as in SIGNALS: one number, one a finger, or an array of shape (ticks, 1) or (ticks, fingers);
        inputs with one row more than there are ticks. One that is left out stays what it was, unless it changed by
        the tick. With an executor of threads the fingers are shared out among so many workers. Raises InputError for
        a signal's name or shape, WrittenForOne for a part of the user's own that was written for one finger only.
        """
        begins, strides = self._laid_in_table(ticks, signals)
        places = np.full(len(CHANNELS), -1)
        for i, name in enumerate(self.channels):
            places[CHANNELS.index(name)] = i * ticks
        trace = aligned(len(self.channels) * ticks, self.groups)
        fields = self._fields._replace(trace=trace)

        def some(first: int, end: int) -> None:
            block = fields, first, end, self.tick, ticks, begins, strides, places
            try:
                run_groups(self._makeup, self._model, *block)
            except TypingError:
                raise WrittenForOne(
                    "a part of this rig is written for one finger only: where it branches on a value, let it choose "
                    "(plant.vector.choose), and take exp, atan and log from plant.elementary"
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

    def _column(self, finger: int) -> LaneState:
        rows = self._fields.states.reshape(len(self._fields.states), -1)
        state: LaneState = restored(self._model, rows[:, finger].tolist())
        return state

    def state(self, finger: int) -> RunState:
        """Where one finger has got to, as `run_ticks` would return it."""
        state = self._column(finger)
        return RunState(state.plant, state.firmware, state.played, self._first_tick + int(state.done))

    @property
    def pending(self) -> Samples:
        """Commands under way, shape (whole dead ticks + 2, fingers), a ring by tick."""
        return self._fields.pending.reshape(len(self._fields.pending), -1)[:, : self.count].copy()

    @property
    def status(self) -> NDArray[np.int64]:
        """RUNNING or DIVERGED, one a finger."""
        running = self._fields.states[-2].reshape(-1)[: self.count]
        return np.asarray(np.where(running > 0.5, RUNNING, DIVERGED))

    @property
    def done(self) -> NDArray[np.int64]:
        """Ticks run, one a finger: all, or until it diverged."""
        return np.asarray(self._fields.states[-1].reshape(-1)[: self.count], np.int64)
