"""Replay: the pneumatics under a recorded command, one candidate a lane, many side by side.

The command is known beforehand, so whole ticks of dead time are a shift made outside and only the share of a tick goes
to the kernel: the reading stays smooth by dead time across the border of a tick.
"""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.assembly import Course, Surroundings, Switchover, plant_tick
from plant.declare import released
from plant.numerics.layout import aligned, laid_out, load_all, load_floats, padded
from plant.numerics.vector import WIDTH, load, store
from plant.parts import line_node, valve_flows, valve_play
from plant.pneumatics.assembly import Pneumatics, PneumaticState, pneumatics_at_rest
from plant.pneumatics.flow_valve import FlowValve, SpoolState
from plant.pneumatics.pressure_valve import PressureValve, StageState

Samples = NDArray[np.float64]
CHANNELS = ("reading_mmHg", "node_mmHg", "cuff_mmHg", "supply_mmHg", "flow_mL_s")
MOST_STEPS = 400  # Runge–Kutta steps a sample


class Candidate(NamedTuple):
    """What is replayed: pneumatics, and the dead time between the command and the valve."""

    pneumatics: Pneumatics
    dead_time_s: float


class Drive(NamedTuple):
    """A recorded command on its clock, and how finely it is followed."""

    command: Samples  # (ticks,)
    period_s: float
    substeps: int
    start_mmHg: float = 0.0


class Fields(NamedTuple):
    """The arrays that a replay works on, each of shape (rows, groups, WIDTH)."""

    rows: Samples  # what is each candidate's own of its pneumatics
    states: Samples
    commands: Samples  # a row more than there are samples: the command before the first
    shares: Samples  # of a sample, at which the command changes: one row
    trace: Samples  # channel i of sample k in row places[i] + k


@released
def replay_groups(
    model: Any, start: Any, fields: Fields, places: Any, period_s: float, substeps: float
) -> None:
    """Replay some groups of lanes; `model` and `start` give classes and what is shared. The trace is filled.

    A channel whose place is negative is not kept.
    """
    rows, states, commands, shares, trace = fields
    nothing = Surroundings(0.0, 0.0, 0.0)
    ticks = commands.shape[0] - 1
    for group in range(commands.shape[1]):
        own = load_floats(model, rows, group)
        state = load_all(start, states, group)
        share = load(shares, 0, group)
        first = load(commands, 0, group)
        before = valve_play(own.valve, first, first)
        for k in range(ticks):
            node = line_node(own.tube, state.line, state.cuff_mmHg)
            if places[0] >= 0:
                store(trace, places[0] + k, group, state.reading_mmHg)
            if places[1] >= 0:
                store(trace, places[1] + k, group, node)
            if places[2] >= 0:
                store(trace, places[2] + k, group, state.cuff_mmHg)
            if places[3] >= 0:
                store(trace, places[3] + k, group, state.supply_mmHg)
            if places[4] >= 0:
                flows = valve_flows(own.valve, own.air, state.valve, node, state.supply_mmHg)
                store(trace, places[4] + k, group, flows[1])
            due = valve_play(own.valve, before, load(commands, k + 1, group))
            state = plant_tick(
                own, state, Course(nothing, nothing), Switchover(before, due, share), substeps, period_s
            )
            before = due


def replay(
    candidates: Sequence[Candidate], drive: Drive, channels: Sequence[str] = ("reading_mmHg",)
) -> dict[str, Samples]:
    """Channels by name, each of shape (samples, candidates), under the recorded command from rest.

    Candidates share classes, whole numbers and switches. Raises InputError where they do not.
    """
    count, ticks = len(candidates), len(drive.command)
    groups = -(-count // WIDTH)
    starts = [started(one.pneumatics, drive) for one in candidates]
    dead = np.array([one.dead_time_s for one in candidates]) / drive.period_s
    whole = np.floor(dead + 1e-9).astype(int)
    shares = aligned(1, groups)
    shares.reshape(-1)[:] = padded(np.clip(dead - whole, 0.0, 1.0), groups)
    commands = aligned(ticks + 1, groups)
    flat = commands.reshape(ticks + 1, -1)
    for lane in range(groups * WIDTH):
        shift = int(whole[min(lane, count - 1)])
        flat[: min(shift, ticks) + 1, lane] = drive.command[0]
        flat[shift + 1 :, lane] = drive.command[: max(ticks - shift, 0)]
    places = np.full(len(CHANNELS), -1)
    for i, name in enumerate(channels):
        places[CHANNELS.index(name)] = i * ticks
    trace = aligned(len(channels) * ticks, groups)
    plants = [one.pneumatics for one in candidates]
    replay_groups(
        plants[0], starts[0],
        Fields(laid_out(plants, groups), laid_out(starts, groups, everything=True), commands, shares, trace),
        places, drive.period_s, float(drive.substeps),
    )
    rows = trace.reshape(len(channels), ticks, groups * WIDTH)[:, :, :count]
    return dict(zip(channels, rows, strict=True))


def started(pneumatics: Pneumatics, drive: Drive) -> PneumaticState:
    """At rest at the drive's starting pressure, the valve where its first command holds it."""
    state = pneumatics_at_rest(pneumatics, drive.start_mmHg)
    first = float(drive.command[0])
    if isinstance(pneumatics.valve, PressureValve):
        return state._replace(valve=StageState(first * pneumatics.valve.range_mmHg, 0.0))
    if isinstance(pneumatics.valve, FlowValve):
        return state._replace(valve=SpoolState(first, 0.0))
    return state


def steps_for(pneumatics: Pneumatics, period_s: float, reach: float) -> int:
    """Runge–Kutta steps a sample that keep |λ|·step below `reach` for every part of the pneumatics."""
    return int(np.clip(np.ceil(fastest_rate(pneumatics) * period_s / reach), 1, MOST_STEPS))


def fastest_rate(pneumatics: Pneumatics) -> float:
    """A bound of the pneumatics' fastest pole [rad/s]: valve wide open at the fullest pressure, line and transducer."""
    from plant.numerics.layout import leaves
    from plant.pneumatics.assembly import pneumatic_rates

    largest = 0.0
    for pressure, command in ((0.0, 1.0), (200.0, 1.0), (200.0, -1.0)):
        state = started(pneumatics, Drive(np.array([command]), 1.0, 1, pressure))
        flat = [value for _, value in leaves(state)]

        def rates(values: list[float], command: float = command, state: Any = state) -> Samples:
            from plant.numerics.layout import restored

            found = pneumatic_rates(pneumatics, restored(state, values), command)
            return np.array([value for _, value in leaves(found)])

        columns = []
        for i, value in enumerate(flat):
            step = 1e-4 * max(abs(value), 1.0)
            above, below = list(flat), list(flat)
            above[i], below[i] = value + step, value - step
            columns.append((rates(above) - rates(below)) / (2.0 * step))
        largest = max(largest, float(np.max(np.abs(np.linalg.eigvals(np.array(columns).T)))))
    return largest
