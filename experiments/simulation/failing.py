"""Runs with all protection and, from an onset on, a failure; one, or many side by side.

A failure is a pure function of a case: it changes parameters of plant or firmware, inputs and orders, the state at the
onset, or numbers of a `Disturbance`. Without one, and as long as no protection acts, a run has the bits of `simulate`.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.guards import Guards, without
from controller.tick.firmware import Firmware
from experiments.rigs.rig import Rig
from experiments.rigs.thresholds import thresholds
from experiments.simulation.coupled import DIVERGED, RUNNING, ClosedLoop, Orders, RunState, no_commands, run_ticks
from experiments.simulation.disturbance import NONE, Disturbance
from experiments.simulation.lanes import Lanes
from experiments.simulation.outcome import Limits, figures_of, first_actions, judge_of, nothing_yet
from experiments.simulation.protected import (
    EMPTIED,
    FAULT_CHANNELS,
    ProtectedLoop,
    ProtectedRun,
    Safety,
    protected_loop,
    protected_start,
    protection_of,
)
from experiments.simulation.side_by_side import of_a_kind
from experiments.simulation.simulate import USUAL, Plan, Ready, Run, finished, orders_of, prepare
from experiments.simulation.steps import open_steps
from experiments.work.interrupts import uninterrupted
from plant.assembly import Inputs, Plant, PlantState
from plant.errors import InputError
from plant.numerics.layout import shared
from plant.pneumatics.openings import OpenPlantState
from plant.pressure.record import PressureTrace

Samples = NDArray[np.float64]
BLOCK = 250  # ticks of many runs at once from one look to the next


class Case(NamedTuple):
    """A run as a failure finds it at the onset, and as it leaves it."""

    rig: Rig  # on its finger, as designed
    plant: Plant
    firmware: Firmware
    fault: Disturbance
    inputs: Inputs  # of the whole run
    orders: Orders  # of the whole run
    state: PlantState  # at the onset
    onset_tick: int
    end_tick: int  # of the fault
    seed: int
    other_finger: tuple[float, float]  # set point and light slope of another finger

    @property
    def period_s(self) -> float:
        """Tick period [s]."""
        return self.rig.timing.period_s


Failure = Callable[[Case], Case]
USUAL_LIMITS = Limits()


class Trouble(NamedTuple):
    """What goes wrong in a run, when, for how long, and which protections are missing meanwhile."""

    failure: Failure | None = None
    onset_s: float = 0.0  # since the start of the run
    duration_s: float = math.inf
    lost: tuple[str, ...] = ()  # names of protections, see `controller.protection.guards`
    other_finger: tuple[float, float] | None = None  # set point and light slope of another finger; none: its own


NO_TROUBLE = Trouble()


class Protected(NamedTuple):
    """What came of a run with protection."""

    run: Run  # its channels are FAULT_CHANNELS; status 'vented' when protection has emptied the cuff
    figures: dict[str, float]  # see `experiments.simulation.outcome`; times count from the onset
    acted: dict[str, float]  # when each layer of protection first acted [s since the onset]; −1: never


class Stage(NamedTuple):
    """A stretch of a run during which nothing about it changes."""

    system: ProtectedLoop
    inputs: Inputs  # of the whole run
    orders: Orders  # of the whole run
    end_tick: int


def stage_of(case: Case, loop: ClosedLoop, safety: Safety, end_tick: int) -> Stage:
    """A case, as a failure has left it, until a tick; `safety` says all but the failure."""
    made = loop._replace(plant=case.plant, firmware=case.firmware)
    return Stage(protected_loop(made, safety._replace(fault=case.fault)), case.inputs, case.orders, end_tick)


def run_stage(
    stage: Stage, seed: int, start: ProtectedRun, pending: Samples, trace: Samples | None = None
) -> tuple[ProtectedRun, int, int]:
    """Run a stage from where a run has got to. State, RUNNING or why it ended, ticks done; `trace` is filled."""
    rows = np.zeros((0, len(FAULT_CHANNELS))) if trace is None else trace
    block = stage.inputs.part(start.tick, stage.end_tick), stage.orders.part(start.tick, stage.end_tick)
    with uninterrupted():
        after: tuple[ProtectedRun, int, int] = run_ticks(stage.system, seed, *block, start, pending, rows)
    return after


def simulate_protected(
    rig: Rig, trace: PressureTrace, plan: Plan = USUAL, seed: int = 1, trouble: Trouble = NO_TROUBLE,
    limits: Limits = USUAL_LIMITS, substeps: int | None = None,
) -> Protected:
    """Run a rig on a pressure trace with all its protection and, if asked, a failure.

    As `experiments.simulation.simulate.simulate`, whose bits it has for as long as nothing goes wrong and no protection
    acts. Raises InputError like it, and for an onset outside the run or a protection that is none. A run that diverges,
    or that protection ends, is a value.
    """
    return run_protected(Affected.of(prepare(rig, trace, plan, seed, substeps), trouble, limits))


def run_protected(affected: Affected) -> Protected:
    """Run one that is ready to begin, stage by stage."""
    pending = no_commands(affected.before.system)
    rows = np.zeros((affected.ready.ticks, len(FAULT_CHANNELS)))
    state, stage, status = affected.start, affected.before, RUNNING
    while status == RUNNING and state.tick < affected.ready.ticks:
        if state.tick == affected.onset_tick:
            stage, state = affected.during(state)
        elif state.tick == affected.end_tick:
            stage = affected.after(stage, state)
        state, status, _ = run_stage(stage, affected.ready.seed, state, pending, rows[state.tick : stage.end_tick])
    return affected.result(state, status, rows[: state.tick])


def run_protected_together(runs: Sequence[Affected]) -> list[Protected]:
    """The same for many at once, each with its own trouble, onset and missing protections: the same bits.

    Those that differ in the classes of their parts or in whole numbers (`experiments.simulation.lanes`) go in groups.
    """
    found: dict[int, Protected] = {}
    for places in of_a_kind([(shared(one.before.system), one.ready.ticks) for one in runs]):
        found.update(zip(places, _together([runs[i] for i in places]), strict=True))
    return [found[i] for i in range(len(runs))]


def _together(runs: Sequence[Affected]) -> list[Protected]:
    """Runs of one kind: side by side from each onset, or end of a failure, to the next."""
    ticks, seeds = runs[0].ready.ticks, [one.ready.seed for one in runs]
    stages, states = [one.before for one in runs], [one.start for one in runs]
    pending = np.stack([no_commands(one.before.system) for one in runs], 1)
    rows = np.full((ticks, len(runs), len(FAULT_CHANNELS)), np.nan)
    status = np.full(len(runs), RUNNING)
    edges = sorted({0, ticks, *(min(t, ticks) for one in runs for t in (one.onset_tick, one.end_tick))})
    for first, last in pairwise(edges):
        for i, one in enumerate(runs):
            if status[i] == RUNNING and first == one.onset_tick:
                stages[i], states[i] = one.during(states[i])
            elif status[i] == RUNNING and first == one.end_tick:
                stages[i] = one.after(stages[i], states[i])
        going = [i for i in range(len(runs)) if status[i] == RUNNING]
        for kin in of_a_kind([shared(stages[i].system) for i in going]):
            some = [going[k] for k in kin]
            lanes = Lanes([stages[i].system for i in some], [seeds[i] for i in some], [states[i] for i in some],
                          pending[:, some], FAULT_CHANNELS)
            for begin in range(first, last, BLOCK):
                end = min(begin + BLOCK, last)
                block = lanes.run(end - begin, **_signals([stages[i] for i in some], begin, end))
                rows[begin:end, some] = np.stack([block[name] for name in FAULT_CHANNELS], -1)
            pending[:, some] = lanes.pending
            for k, i in enumerate(some):
                states[i], status[i] = lanes.state(k), lanes.status[k]
    return [one.result(states[i], int(status[i]), rows[: states[i].tick, i]) for i, one in enumerate(runs)]


def _signals(stages: Sequence[Stage], begin: int, end: int) -> dict[str, Any]:
    """What the stages' inputs and orders are in a block of ticks, as lanes take them."""
    inputs, orders = ([part.part(begin, end) for part in column] for column in zip(
        *((stage.inputs, stage.orders) for stage in stages), strict=True))
    named = [(Inputs._fields, inputs), (Orders._fields, orders)]
    return {
        name: np.stack([one[k] for one in column], 1).astype(float)
        for names, column in named for k, name in enumerate(names)
    }


class Affected(NamedTuple):
    """A run with its trouble, ready to begin."""

    ready: Ready
    trouble: Trouble
    guards: Guards
    limits: Limits
    fine_steps: int
    orders: Orders
    onset_tick: int
    end_tick: int  # of the failure

    @classmethod
    def of(cls, ready: Ready, trouble: Trouble = NO_TROUBLE, limits: Limits = USUAL_LIMITS) -> Affected:
        """A run that is ready, with its trouble. Raises InputError for an onset outside it or an unknown protection."""
        period, guards = ready.period_s, thresholds(ready.rig)
        onset = round(trouble.onset_s / period) if 0.0 <= trouble.onset_s <= ready.ticks * period else -1
        if not 0 <= onset < ready.ticks or not trouble.duration_s > 0.0:
            raise InputError(
                f"a failure from {trouble.onset_s:g} s on for {trouble.duration_s:g} s: use an onset from 0 to below "
                f"{ready.ticks * period:g} s, and a duration above 0"
            )
        end = ready.ticks
        if math.isfinite(trouble.duration_s):
            end = min(onset + max(round(trouble.duration_s / period), 1), ready.ticks)
        without(guards, *trouble.lost)
        fine = int(ready.loop.clock.substeps) + open_steps(ready.rig.plant, guards, ready.rig.timing)
        return cls(ready, trouble, guards, limits, fine, orders_of(ready), onset, end)

    @property
    def start(self) -> ProtectedRun:
        """The state in which the run begins."""
        return protected_start(self.ready.start.plant)

    @property
    def before(self) -> Stage:
        """From the start to the onset."""
        return self._stage(self._case(self.ready.start.plant), self.guards, self.onset_tick)

    def during(self, state: ProtectedRun) -> tuple[Stage, ProtectedRun]:
        """From the onset on, and the state in which that begins: times and pressures are counted anew."""
        case = self._case(state.plant.plant)
        if self.trouble.failure is not None:
            case = self.trouble.failure(case)
        begun = state._replace(plant=OpenPlantState(case.state, state.plant.lift), sums=nothing_yet())
        return self._stage(case, without(self.guards, *self.trouble.lost), self.end_tick), begun

    def after(self, during: Stage, state: ProtectedRun) -> Stage:
        """When the failure is over: what surrounds the finger stays as it left it."""
        case = self._case(state.plant.plant)._replace(inputs=during.inputs)
        return self._stage(case, without(self.guards, *self.trouble.lost), self.ready.ticks)

    def _case(self, state: PlantState) -> Case:
        ready, own = self.ready, (self.ready.set_point, self.ready.light_slope)
        return Case(ready.rig, ready.loop.plant, ready.loop.firmware, NONE, ready.inputs, self.orders, state,
                    self.onset_tick, self.end_tick, ready.seed, self.trouble.other_finger or own)

    def _stage(self, case: Case, guards: Guards, end_tick: int) -> Stage:
        judge = judge_of(self.ready.rig.plant, self.limits, self.onset_tick)
        return stage_of(case, self.ready.loop, protection_of(guards, judge, self.fine_steps), end_tick)

    def result(self, state: ProtectedRun, status: int, rows: Samples) -> Protected:
        """What came of it, from the end and the trace of FAULT_CHANNELS."""
        columns = {name: np.ascontiguousarray(rows[:, i]) for i, name in enumerate(FAULT_CHANNELS)}
        final = RunState(state.plant.plant, state.firmware, state.played, state.tick)
        run, acted = finished(self.ready, columns, status == DIVERGED, final), first_actions(state.sums)
        if status == EMPTIED:
            order = sorted((at, name) for name, at in acted.items() if at >= 0.0)
            message = f"the cuff was emptied by {state.tick * run.period_s:.3f} s; what acted, in order: "
            run = replace(run, status="vented", message=message + ", ".join(name for _, name in order))
        return Protected(run, figures_of(state.sums), acted)
