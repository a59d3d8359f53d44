"""One rig on one finger, filled and clamped up to the onset once, then run on with each failure and each protection.

The run up to the onset is shared by all failures that begin in the clamp, and by all protections: as long as none of
them acts, taking one away changes no bit.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Instrument
from controller.protection.guards import Guards, without
from controller.tick.firmware import CLAMP, FILL
from experiments.rigs.rig import Rig, clamp
from experiments.rigs.thresholds import thresholds
from experiments.safety.faults.confirming import Confirming
from experiments.safety.faults.fault import AT_START, Case, Fault
from experiments.simulation.coupled import DIVERGED, RUNNING, ClosedLoop, Orders, closed_loop, no_commands
from experiments.simulation.disturbance import NONE
from experiments.simulation.failing import USUAL_LIMITS, Stage, run_stage, stage_of
from experiments.simulation.instrument import instrument_of
from experiments.simulation.outcome import Limits, figures_of, first_actions, judge_of, nothing_yet
from experiments.simulation.protected import FAULT_CHANNELS, ProtectedLoop, ProtectedRun, protected_start, protection_of
from experiments.simulation.steps import protected_steps
from experiments.subjects.finger import Finger, finger_inputs, on_finger
from plant.assembly import Inputs, Surroundings, initial_state
from plant.numerics.noise import uniform
from plant.pneumatics.openings import OpenPlantState

Samples = NDArray[np.float64]
Run = tuple[ProtectedRun, int, int]  # its state, why it ended or RUNNING, ticks done
Served = Callable[[ProtectedLoop], Any]
ONSET = 17  # channel of the random onset phase
FILL_s, SETTLE_s, AFTER_s = 12.0, 4.0, 36.0  # veins and wall come to rest; earliest onset; what is looked at after it


class Times(NamedTuple):
    """How long a run takes."""

    fill_s: float = FILL_s
    settle_s: float = SETTLE_s
    after_s: float = AFTER_s


USUAL_TIMES = Times()


class Outcome(NamedTuple):
    """One run: its figures (see FIGURES), when each layer first acted (−1: never), and whether it diverged."""

    figures: dict[str, float]
    acted: dict[str, float]
    diverged: bool

    @property
    def caught_by(self) -> str:
        """The layer that acted first; empty when none did. The dump valve counts when nobody told it to open."""
        times = {name: at for name, at in self.acted.items() if at >= 0.0}
        others = {name: at for name, at in times.items() if name != "dump_valve"}
        if others and min(others.values()) <= times.get("dump_valve", math.inf):
            return min(others, key=lambda name: others[name])
        return "dump_valve" if times else ""


@dataclass
class Bench:
    """A rig on a finger, at the onset of whatever comes. `trouble` names protections that acted before it."""

    rig: Rig
    guards: Guards
    loop: ClosedLoop
    fine_steps: int
    inputs: Inputs
    orders: Orders
    seed: int
    times: Times
    limits: Limits
    other_finger: tuple[float, float]
    instrument: Instrument  # the firmware's own, of the rig as designed
    onset_tick: int
    empty: ProtectedRun
    served: Served | None = None  # puts somebody's firmware into the loop
    start: ProtectedRun = field(init=False)
    pending: Samples = field(init=False)
    trouble: list[str] = field(init=False)

    def __post_init__(self) -> None:
        fill = round(self.times.fill_s / self.rig.timing.period_s)
        case = self.case(self.onset_tick)
        stage = self._stage(case, self.guards, fill, self.onset_tick)
        self.pending = no_commands(stage.system)
        self.start, _, _ = run_stage(stage, self.seed, self.empty, self.pending)
        self.trouble = [name for name, at in first_actions(self.start.sums).items() if at >= 0.0]

    def case(self, onset_tick: int, fault: Fault | None = None) -> Case:
        """The case that an injector gets."""
        lasting = math.inf if fault is None else fault.duration_s
        ticks = len(self.orders.mode)
        end = ticks if lasting == math.inf else min(onset_tick + round(lasting / self.rig.timing.period_s), ticks)
        state = self.empty if onset_tick == 0 else getattr(self, "start", self.empty)
        return Case(self.rig, self.rig.plant, self.loop.firmware, NONE, self.inputs, self.orders, state.plant.plant,
                    onset_tick, end, self.seed, self.other_finger)

    def _stage(self, case: Case, guards: Guards, onset_tick: int, end_tick: int, denied: bool = False) -> Stage:
        """A case until a tick; times and display count from the onset tick on."""
        safety = protection_of(guards, judge_of(self.rig.plant, self.limits, onset_tick), self.fine_steps)
        stage = stage_of(case, self.loop, safety._replace(denied=denied), end_tick)
        return stage if self.served is None else stage._replace(system=self.served(stage.system))

    def _confirmed(
        self, case: Case, guards: Guards, counting: int, stop: int, begun: ProtectedRun, pending: Samples, rows: Samples
    ) -> Run:
        """A run from a search's end on: with a confirmation where there is time for one, and its verdict in force."""
        confirming = Confirming.of(case.orders, self.instrument)
        if confirming.end >= stop:
            return run_stage(self._stage(case, guards, counting, stop), self.seed, begun, pending, rows)
        case = case._replace(orders=confirming.probed(case.orders))
        kept = rows if len(rows) else np.zeros((confirming.end - begun.tick, len(FAULT_CHANNELS)))
        until = confirming.end - begun.tick
        state, status, done = run_stage(
            self._stage(case, guards, counting, confirming.end), self.seed, begun, pending, kept[:until])
        if status != RUNNING:
            return state, status, done
        denied = confirming.denied(kept[confirming.first - begun.tick : until])
        state, status, more = run_stage(self._stage(case, guards, counting, stop, denied), self.seed, state, pending,
                                        rows[until:] if len(rows) else None)
        return state, status, done + more

    def run(self, *faults: Fault, lost: tuple[str, ...] = (), trace: bool = False) -> tuple[Outcome, Samples]:
        """Outcome of one failure, or of several together, with the named protections taken away; and its trace.

        The trace has one row a tick from the start of the failure on (FAULT_CHANNELS), or no rows. Several failures
        begin together; when one of them is there from the start, so are all. The first to end ends them all.
        """
        guards = without(self.guards, *lost) if lost else self.guards
        early = any(fault.onset == AT_START for fault in faults)
        onset = 0 if early else self.onset_tick
        start = self.empty if early else self.start
        pending = np.zeros_like(self.pending) if early else self.pending.copy()
        case = self.case(onset)
        end = len(self.orders.mode)
        for fault in faults:
            mine = self.case(onset, fault)
            case = fault.inject(case._replace(end_tick=mine.end_tick), fault.severity)
            end = min(end, mine.end_tick)
        counting = int(np.argmax(case.orders.mode == CLAMP)) if early else onset
        last = self.onset_tick + round(self.times.after_s / self.rig.timing.period_s)
        stop = min(end, last)
        rows = np.zeros((last - onset if trace else 0, len(FAULT_CHANNELS)))
        begun = start._replace(plant=OpenPlantState(case.state, start.plant.lift), sums=nothing_yet())
        head = rows[: stop - onset]
        if early:
            state, status, done = self._confirmed(case, guards, counting, stop, begun, pending, head)
        else:
            state, status, done = run_stage(self._stage(case, guards, counting, stop), self.seed, begun, pending, head)
        if status == RUNNING and stop < last:  # the failure is over, and the run goes on
            after = self.case(onset)._replace(inputs=case.inputs)
            state, status, more = run_stage(self._stage(after, guards, counting, last), self.seed, state, pending,
                                            rows[stop - onset :] if trace else None)
            done += more
        return Outcome(figures_of(state.sums), first_actions(state.sums), status == DIVERGED), rows[:done]


def set_point_of(rig: Rig, inputs: Inputs) -> tuple[float, float, float]:
    """Cuff pressure to fill to [mmHg], set point and light slope of the true unloaded volume of a rig on its finger."""
    point = clamp(rig, float(np.mean(inputs.arterial_mmHg)), float(np.mean(inputs.tone)))
    return float(point.state.cuff_mmHg), float(point.light), float(point.light_slope)


def make_bench(
    rig: Rig, finger: Finger, other_finger: Finger, phase: int = 0, times: Times = USUAL_TIMES,
    limits: Limits = USUAL_LIMITS, seed: int = 1, served: Served | None = None,
) -> Bench:
    """A bench for one finger and one onset; `phase` numbers the onsets, each at a random point of a beat.

    `other_finger` is the finger whose set point "wrong finger" uses, and `served` puts somebody's firmware into the
    loop. Raises InputError when the rig cannot clamp there.
    """
    own = on_finger(rig, finger)
    period = rig.timing.period_s
    beat = 60.0 / finger.pressure.rate_per_min
    late = uniform((finger.seed + seed) % 2**32, ONSET, phase) * beat
    onset = round((times.fill_s + times.settle_s + late) / period)
    longest = times.fill_s + times.settle_s + 2.0 + times.after_s
    inputs = finger_inputs(own, finger, longest)
    cuff, set_point, slope = set_point_of(own, inputs)
    other = on_finger(rig, other_finger)
    _, foreign, foreign_slope = set_point_of(other, finger_inputs(other, other_finger, 5.0))
    ticks = len(inputs.arterial_mmHg) - 1
    mode = np.full(ticks, CLAMP, np.int64)
    mode[: round(times.fill_s / period)] = FILL
    orders = Orders(mode, np.full(ticks, cuff), np.full(ticks, set_point), np.full(ticks, slope))
    point = clamp(own, float(np.mean(inputs.arterial_mmHg)), float(np.mean(inputs.tone)))
    guards = thresholds(rig)  # the firmware knows its own bladder, not this finger's
    usual, fine = protected_steps(own.plant, guards, point, rig.timing)
    around = Surroundings(*(float(column[0]) for column in inputs))
    return Bench(
        own, guards, closed_loop(own, usual), fine, inputs, orders, (finger.seed + 7919 * phase + seed) % 2**32, times,
        limits, (foreign, foreign_slope), instrument_of(rig), onset, protected_start(initial_state(own.plant, around)),
        served,
    )
