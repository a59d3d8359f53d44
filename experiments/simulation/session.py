"""A rig on a finger, run request by request for a search or a schedule, with the truth kept in a log beside it."""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Clamp, Hold, Instrument, Outcome, Plan, Request, Seen
from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.rigs.rig import Rig
from experiments.simulation.coupled import (
    CHANNELS,
    RUNNING,
    Orders,
    RunState,
    at_rest,
    closed_loop,
    no_commands,
    run_ticks,
)
from experiments.work.interrupts import uninterrupted
from plant.assembly import Inputs, Surroundings, initial_state

Samples = NDArray[np.float64]
COLUMN = {name: i for i, name in enumerate(CHANNELS)}


class OutOfTime(Exception):
    """The surroundings given to a session have come to their end."""


class Diverged(OutOfTime):
    """Pressure or light has left all bounds: the run is over before its time."""


@dataclass
class Session:
    """One finger and one rig, from an empty cuff on."""

    rig: Rig
    inputs: Inputs  # surroundings on the tick grid, one more than there are ticks
    seed: int
    substeps: int
    state: RunState = field(init=False)
    keep: bool = True  # every tick; else only those of the last request, in one place: an hour then needs no memory
    blocks: list[Samples] = field(default_factory=list)  # every tick so far, or the last request's, by CHANNELS
    requests: list[Request] = field(default_factory=list)  # what each block was asked for
    diverged: bool = False
    ended: str = ""  # what ended it, where that is no pressure or light out of bounds

    def __post_init__(self) -> None:
        self._loop = closed_loop(self.rig, self.substeps)
        self._pending = no_commands(self._loop)
        self._place = np.empty((0, len(CHANNELS)))
        around = Surroundings(*(float(v[0]) for v in self.inputs))
        self.state = at_rest(initial_state(self.rig.plant, around))

    @property
    def rows(self) -> Samples:
        """Every tick so far, shape (ticks, CHANNELS)."""
        return np.concatenate([np.zeros((0, len(CHANNELS))), *self.blocks])

    def ask(self, request: Request, instrument: Instrument) -> Seen:
        """Run a request. Raises OutOfTime when fewer ticks are left than it takes, Diverged when it runs away."""
        ticks = instrument.ticks(request.seconds)
        at = self.state.tick
        if at + ticks > len(self.inputs.arterial_mmHg) - 1:
            raise OutOfTime
        orders = orders_of(request, ticks, instrument)
        rows = self._rows(ticks)
        self.state, status, done = self._run(self.inputs.part(at, at + ticks), orders, rows)
        self.diverged = self.diverged or status != RUNNING
        rows = rows[:done]
        if not self.keep:
            self.blocks.clear()
            self.requests.clear()
        self.blocks.append(rows)
        self.requests.append(request)
        if self.diverged:
            raise Diverged
        signals = (rows[:, COLUMN[name]] for name in ("light", "reading_mmHg", "command", "limited"))
        return Seen(*(signals if self.keep else (np.array(signal) for signal in signals)))

    def _run(self, inputs: Inputs, orders: Orders, rows: Samples) -> tuple[RunState, int, int]:
        """Run a block of ticks and fill its rows. The state after it, RUNNING or why it ended, and the ticks done."""
        with uninterrupted():
            made: tuple[RunState, int, int] = run_ticks(
                self._loop, self.seed, inputs, orders, self.state, self._pending, rows)
        return made

    def _rows(self, ticks: int) -> Samples:
        if self.keep:
            return np.zeros((ticks, len(CHANNELS)))
        if len(self._place) < ticks:
            self._place = np.empty((ticks, len(CHANNELS)))
        return self._place[:ticks]

    def follow(self, plan: Plan, instrument: Instrument) -> Outcome:
        """Run a plan to its outcome."""
        try:
            request = next(plan)
            while True:
                request = plan.send(self.ask(request, instrument))
        except StopIteration as end:
            outcome: Outcome = end.value
            return outcome


def orders_of(request: Request, ticks: int, instrument: Instrument) -> Orders:
    """What the firmware is asked on each tick of a request."""
    pressure, set_point, slope, mode = 0.0, np.zeros(ticks), 1.0, VENT
    if isinstance(request, Hold):
        mode, pressure = FILL, request.pressure_mmHg
    elif isinstance(request, Clamp):
        mode, slope = CLAMP, request.light_slope
        shift = np.zeros(ticks) + request.sweep_mmHg + request.course_mmHg
        if request.tone_mmHg > 0.0:
            time = np.arange(ticks) * instrument.period_s
            shift += request.tone_mmHg * np.sin(2.0 * np.pi * instrument.probe_Hz * time)
        set_point = request.set_point + slope * shift
    return Orders(np.full(ticks, mode, np.int64), np.full(ticks, pressure), set_point, np.full(ticks, slope))
