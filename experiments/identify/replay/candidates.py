"""Candidates: a rig's pneumatics with some of its numbers changed, and the numbers as the search sees them.

A search moves each number through a transform that keeps it positive where it is: the logarithm, down to a fiftieth of
what the rig is believed to have; the number itself, scaled by its range, where that is zero. Bounds go to the solver.
"""
from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.timing import Timing
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.kernel import CHANNELS, Candidate, Drive, replay, steps_for
from experiments.rigs.rig import Rig, left_to_tool
from plant.declare import Declared, declared
from plant.errors import InputError
from plant.messages import one_line
from plant.pneumatics.assembly import Pneumatics
from plant.pneumatics.tube import Tube, matched_factors

Samples = NDArray[np.float64]
DEAD_TIME = "timing.dead_time_s"
TABLES = Pneumatics._fields
NARROWER = {DEAD_TIME: (1e-6, 0.02), "transducer.bandwidth_Hz": (5.0, 5000.0)}
SMALLEST = 0.02  # of what the rig is believed to have, where a bound is zero


class Free(NamedTuple):
    """One number that is looked for."""

    name: str  # dotted, as in a rig file
    unit: str
    low: float
    high: float
    logarithmic: bool

    def inside(self, value: float) -> float:
        """The number as the search sees it."""
        return math.log(value) if self.logarithmic else value / (self.high - self.low)

    def outside(self, seen: float) -> float:
        """The number itself, within its bounds whatever rounding does."""
        value = math.exp(seen) if self.logarithmic else seen * (self.high - self.low)
        return min(max(value, self.low), self.high)

    def slope(self, value: float) -> float:
        """Change of the number by what the search sees."""
        return value if self.logarithmic else self.high - self.low


class Bench(NamedTuple):
    """A rig as a bench sees it: what is changed, and what follows from it."""

    rig: Rig
    matched: tuple[bool, bool]  # whether losses and inertance of the tube follow from its size

    @property
    def centred(self) -> bool:
        """Whether the level of a course says nothing: a gauge's zero may be off."""
        return True

    def channels(self, recording: Recording) -> list[str]:
        """Channels of a recording that the pneumatics can answer for."""
        return [name for name in CHANNELS if name in recording.channels]

    def candidate(self, names: Sequence[str], values: Sequence[float]) -> Candidate:
        """The rig with these numbers."""
        return candidate(self, names, values)

    def steps(self, one: Candidate, recording: Recording, reach: float) -> int:
        """Runge–Kutta steps a sample that keep |λ|·step below `reach`."""
        return steps_for(one.pneumatics, recording.period_s, reach)

    def courses(
        self, moved: Sequence[Candidate], recording: Recording, substeps: int, channels: Sequence[str]
    ) -> dict[str, Samples]:
        """Channels by name, each (samples, candidates)."""
        drive = Drive(recording.command, recording.period_s, substeps, recording.start_mmHg)
        return replay(moved, drive, channels)


def bench_of(rig: Rig) -> Bench:
    """A rig's pneumatics, ready to be changed."""
    return Bench(rig, (left_to_tool(rig, "tube", "loss_factor"), left_to_tool(rig, "tube", "inertance_factor")))


def pneumatics_of(rig: Rig) -> Pneumatics:
    """The pneumatics of a rig's plant."""
    plant = rig.plant
    return Pneumatics(plant.valve, plant.supply, plant.air, plant.tube, plant.cuff, plant.transducer)


def free_of(rig: Rig, name: str, tables: Sequence[str] = TABLES) -> Free:
    """A number of the rig's pneumatics, or other tables, by its dotted name. Raises InputError for any other."""
    table, _, key = name.partition(".")
    if name == DEAD_TIME and tables is TABLES:
        parts: dict[str, Declared] = {p.name: p for p in declared(Timing)}
    elif table in tables:
        parts = {p.name: p for p in declared(type(getattr(rig.plant, table)))}
    else:
        also = f", or {DEAD_TIME}" if tables is TABLES else ""
        raise InputError(f"--free {one_line(name, 60)}: no number of {', '.join(tables)}{also}")
    if key not in parts or parts[key].kind is not float or parts[key].low is None:
        numbers = ", ".join(f"{table}.{p.name}" for p in parts.values() if p.kind is float)
        raise InputError(f"--free {one_line(name, 60)}: use one of {numbers}")
    part = parts[key]
    assert part.low is not None and part.high is not None
    low, high = NARROWER.get(name, (part.low, part.high))
    believed = value_of(rig, name)
    if low <= 0.0 < believed:
        low = SMALLEST * believed
    return Free(name, part.unit, low, high, low > 0.0)


def value_of(rig: Rig, name: str) -> float:
    """What a rig has for a number."""
    table, _, key = name.partition(".")
    return float(rig.timing.dead_time_s if name == DEAD_TIME else getattr(getattr(rig.plant, table), key))


def candidate(bench: Bench, names: Sequence[str], values: Sequence[float]) -> Candidate:
    """The bench with these numbers; losses and inertance of a tube follow from its size where the rig leaves them."""
    pneumatics, dead = pneumatics_of(bench.rig), bench.rig.timing.dead_time_s
    changed: dict[str, dict[str, float]] = {}
    for name, value in zip(names, values, strict=True):
        table, _, key = name.partition(".")
        if name == DEAD_TIME:
            dead = float(value)
        else:
            changed.setdefault(table, {})[key] = float(value)
    pneumatics = pneumatics._replace(**{
        table: getattr(pneumatics, table)._replace(**keys) for table, keys in changed.items()})
    if ("tube" in changed or "air" in changed) and isinstance(pneumatics.tube, Tube) and any(bench.matched):
        pneumatics = pneumatics._replace(tube=_rematched(bench, pneumatics, changed.get("tube", {})))
    return Candidate(pneumatics, dead)


def _rematched(bench: Bench, pneumatics: Pneumatics, given: dict[str, float]) -> Tube:
    tube = pneumatics.tube
    assert isinstance(tube, Tube)
    loss, inertance = matched_factors(tube, pneumatics.air, 90.0)
    if bench.matched[0] and "loss_factor" not in given:
        tube = tube._replace(loss_factor=loss)
    if bench.matched[1] and "inertance_factor" not in given:
        tube = tube._replace(inertance_factor=inertance)
    return tube
