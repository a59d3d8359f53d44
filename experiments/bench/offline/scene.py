"""What the figure shows: a short run of a rig, and what each of its three sliders changes in it."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.law import design
from experiments.bench.answers.strips import FILL_s, SETTLE_s, onsets
from experiments.bench.offline.entry import numbers_of
from experiments.check.tracking import whole_beats
from experiments.rigs.rig import Rig
from experiments.simulation.coupled import ring_of
from experiments.simulation.simulate import Plan, Ready, counted_ticks, plan_modes, prepare
from plant.errors import InputError
from plant.pressure.beats import Indices
from plant.pressure.record import PressureTrace

RUN_s = 5.0
STEPS_A_mmHg = 128.0  # the record is rounded to a share of 1 mmHg that 32-bit floats hold exactly
GAINS = tuple(2.0 ** (step / 5.0) for step in range(-10, 11))  # of the rig's own
DEAD_TIMES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0)  # of its own, or of a tick where it has none
VOLUMES = tuple(0.05 * step for step in range(-4, 5))  # relative error of the volume that is held
BEHIND = ("ring", "fill_mmHg", "set_point", "light_slope")  # after the loop's own numbers in what a slider changes


class Turn(NamedTuple):
    """Where the three sliders stand."""

    kp: float  # gain of the controller [1/mmHg]
    dead_time_s: float
    volume_error: float  # relative error of the volume that is held


class Axis(NamedTuple):
    """One slider: the values that it can take, and what each of them makes of the run's numbers."""

    name: str  # a field of `Turn`
    values: tuple[float, ...]
    usual: int  # the place of the rig's own
    places: tuple[int, ...]  # of the numbers that it changes
    rows: tuple[tuple[float, ...], ...]  # their values, one row a value of the slider


class Scene(NamedTuple):
    """A rig on the beginning of a record."""

    rig: Rig
    trace: PressureTrace
    pressures_mmHg: dict[str, float]  # at which margins are judged, mean first
    axes: tuple[Axis, Axis, Axis]

    def at(self, *places: int) -> Turn:
        """The turn at these places of the three sliders."""
        return Turn(*(axis.values[place] for axis, place in zip(self.axes, places, strict=True)))


def scene_of(rig: Rig, record: PressureTrace, pressures_mmHg: dict[str, float]) -> Scene:
    """The scene of a rig on the first seconds of a record. Raises InputError when the rig cannot clamp there."""
    trace = beginning(record)
    own = Turn(rig.controller.kp, rig.timing.dead_time_s, 0.0)
    usual = numbers_at(rig, trace, own)
    tick = own.dead_time_s or rig.timing.period_s
    wanted = (
        (own.kp * share for share in GAINS), (tick * share for share in DEAD_TIMES), VOLUMES,
    )
    axes = tuple(_axis(rig, trace, own, name, values, usual)
                 for name, values in zip(Turn._fields, wanted, strict=True))
    return Scene(rig, trace, pressures_mmHg, (axes[0], axes[1], axes[2]))


def beginning(record: PressureTrace) -> PressureTrace:
    """The first seconds of a record, each pressure a whole number of steps."""
    samples = min(round(RUN_s / record.period_s) + 1, len(record.pressure_mmHg))
    rounded = np.round(record.pressure_mmHg[:samples] * STEPS_A_mmHg) / STEPS_A_mmHg
    return record._replace(pressure_mmHg=rounded, usable=np.ascontiguousarray(record.usable[:samples]))


def turned_rig(rig: Rig, turn: Turn) -> Rig:
    """The rig with the gain and the dead time of a turn. Raises InputError for what cannot be."""
    turned = rig._replace(controller=rig.controller._replace(kp=turn.kp),
                          timing=rig.timing._replace(dead_time_s=turn.dead_time_s))
    design(turned.controller, turned.timing.period_s)
    return turned


def ready_at(rig: Rig, trace: PressureTrace, turn: Turn) -> Ready:
    """The run of a turn, ready to begin; tone as the page has it. Raises InputError."""
    plan = Plan(FILL_s, SETTLE_s, set_point_error=turn.volume_error, filled=True)
    ready = prepare(turned_rig(rig, turn), trace, plan)
    tone = ready.inputs.tone.astype(np.float32).astype(float)
    return ready._replace(inputs=ready.inputs._replace(tone=tone))


def numbers_at(rig: Rig, trace: PressureTrace, turn: Turn) -> NDArray[np.float64]:
    """The numbers of a turn's run: those of `numbers_of`, then BEHIND. Raises InputError."""
    ready = ready_at(rig, trace, turn)
    behind = (ring_of(ready.loop), ready.fill_mmHg, ready.set_point, ready.light_slope)
    return np.concatenate([numbers_of(ready), np.array(behind, float)])


def _axis(
    rig: Rig, trace: PressureTrace, own: Turn, name: str, wanted: Iterable[float], usual: NDArray[np.float64]
) -> Axis:
    """A slider with those of the wanted values that the rig can take, its own among them."""
    mine: float = getattr(own, name)
    tried = sorted({mine, *(_rounded(value, mine) for value in wanted)})
    found = [(value, row) for value in tried if (row := _tried(lambda v: numbers_at(rig, trace, v), own, name, value))
             is not None]
    table = np.array([row for _, row in found])
    places = np.flatnonzero(np.any(table != usual, axis=0))
    return Axis(name, tuple(value for value, _ in found), [value for value, _ in found].index(mine),
                tuple(int(place) for place in places), tuple(tuple(row) for row in table[:, places].tolist()))


def _rounded(value: float, own: float) -> float:
    """Four digits, but the rig's own value stays what it is."""
    return own if math.isclose(value, own, rel_tol=1e-3, abs_tol=1e-12) else float(f"{value:.4g}")


def _tried(
    numbers: Callable[[Turn], NDArray[np.float64]], own: Turn, name: str, value: float
) -> NDArray[np.float64] | None:
    try:
        return numbers(own._replace(**{name: value}))
    except InputError:
        return None


def modes(ready: Ready) -> list[list[int]]:
    """The mode that is asked for, as [ticks, mode] one after the other."""
    return runs_of(plan_modes(ready.plan, ready.ticks, ready.period_s))


def runs_of(values: NDArray[np.generic]) -> list[list[int]]:
    """Whole numbers or switches as [how many, value], one after the other."""
    whole = np.asarray(values).astype(int)
    edges = np.flatnonzero(np.diff(whole)) + 1
    return [[len(part), int(part[0])] for part in np.split(whole, edges) if len(part)]


def counted_of(ready: Ready) -> tuple[NDArray[np.bool_], Indices]:
    """Which ticks count, and where the beats that count begin and end, shape (beats, 2)."""
    mode = plan_modes(ready.plan, ready.ticks, ready.period_s)
    counted = counted_ticks(ready.plan, mode, ready.period_s) & ready.trace.usable[: len(mode)]
    found = onsets(ready.trace)
    kept = whole_beats(found, counted)
    return counted, np.stack([found[:-1][kept], found[1:][kept]], axis=1)
