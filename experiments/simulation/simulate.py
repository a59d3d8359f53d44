"""One run of a rig on one pressure trace: fill, clamp, and vent if asked, with the set point given."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Found
from controller.tick.firmware import CLAMP, FILL, MODES, VENT
from controller.tick.law import Coefficients
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    ClosedLoop,
    Orders,
    RunState,
    at_rest,
    closed_loop,
    no_commands,
    run_ticks,
)
from experiments.simulation.steps import steps_a_tick
from experiments.work.interrupts import uninterrupted
from plant.assembly import Inputs, Surroundings, initial_state
from plant.errors import InputError
from plant.finger.artery import unloaded_pressure
from plant.finger.tone import tone_samples
from plant.operating_point import OperatingPoint
from plant.parts import valve_nature
from plant.pressure.record import PressureTrace

Samples = NDArray[np.float64]
BLOCK = 20_000  # ticks between looks at the progress bar
SATURATED_SHARE = 0.2  # of the settled clamp at a limit, beyond which it is no clamp


class Plan(NamedTuple):
    """How the run goes: fill for a while, clamp for the rest of the trace, vent at its end."""

    fill_s: float = 2.0  # filling and waiting at the mean arterial pressure before the clamp
    settle_s: float = 3.0  # of clamping that does not count: the set point is true only once the wall has settled
    vent_s: float = 0.0  # of venting at the end of the trace
    offset_mmHg: float = 0.0  # transmural offset of the set point from peak compliance
    set_point_error: float = 0.0  # relative error of the arterial volume held, 0.1 for 10 % too large
    filled: bool = False  # begin as a search leaves the finger: cuff at mean pressure, veins and wall at rest under it


USUAL = Plan()
FILLED_s = 12.0  # as long as a search fills before its first clamp: veins and wall are at rest, and do not throw it
FILLED_SHARE = 0.4  # of a short trace at most


def plan_at_rest(duration_s: float, settle_s: float = 4.0) -> Plan:
    """A plan whose clamp begins as late as one after a search does; on a short trace as late as leaves something."""
    return USUAL._replace(fill_s=min(FILLED_s, FILLED_SHARE * duration_s), settle_s=min(settle_s, 0.2 * duration_s))


@dataclass(frozen=True)
class Run:
    """What came out. `status` is 'done', 'saturated' or 'diverged'; `message` says when and what to try."""

    rig: Rig
    trace: PressureTrace
    plan: Plan
    coefficients: Coefficients
    point: OperatingPoint
    channels: dict[str, NDArray[Any]]  # by name, one sample a tick
    tone: Samples
    substeps: int
    seed: int
    status: str
    message: str
    final: RunState

    @property
    def period_s(self) -> float:
        """Tick period [s]."""
        return self.rig.timing.period_s

    @property
    def ideal_mmHg(self) -> Samples:
        """What a perfect clamp at the unloaded volume would read: arterial pressure minus p0, through the tissue."""
        tone: Any = self.tone[: len(self.channels["cuff_mmHg"])]  # the law is compiled for one tone or for many
        return np.asarray(self.channels["arterial_mmHg"] - unloaded_pressure(self.rig.plant.artery, tone))

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Ticks that count for tracking: clamped, settled, and with a usable record."""
        mode = self.channels["mode"]
        return counted_ticks(self.plan, mode, self.period_s) & self.trace.usable[: len(mode)]


def counted_ticks(plan: Plan, mode: NDArray[Any], period_s: float) -> NDArray[np.bool_]:
    """Ticks of a run in these modes that count for tracking, wherever the record is usable: clamped and settled."""
    first = round((plan.fill_s + plan.settle_s) / period_s)
    return np.asarray((mode == CLAMP) & (np.arange(len(mode)) >= first))


def mean_pressure(trace: PressureTrace) -> float:
    """Mean arterial pressure over the usable part of a trace [mmHg]."""
    return float(np.mean(trace.pressure_mmHg[trace.usable]))


class Ready(NamedTuple):
    """A run that has yet to begin: a rig on a finger, what surrounds it, and what its firmware will be asked."""

    rig: Rig
    trace: PressureTrace
    plan: Plan
    point: OperatingPoint
    loop: ClosedLoop
    inputs: Inputs
    fill_mmHg: float
    set_point: float
    light_slope: float
    start: RunState
    seed: int

    @property
    def ticks(self) -> int:
        """Ticks of the whole run."""
        return len(self.trace.pressure_mmHg) - 1

    @property
    def period_s(self) -> float:
        """Tick period [s]."""
        return self.rig.timing.period_s


def prepare(
    rig: Rig, trace: PressureTrace, plan: Plan = USUAL, seed: int = 1, substeps: int | None = None,
    found: Found | None = None,
) -> Ready:
    """Everything that `simulate` needs before the first tick; the same arguments, the same errors."""
    period = rig.timing.period_s
    if abs(trace.period_s - period) > 1e-12:
        raise InputError(f"the trace has a tick of {trace.period_s:.6g} s and the rig one of {period:.6g} s")
    ticks = len(trace.pressure_mmHg) - 1
    if (plan.fill_s + plan.settle_s + plan.vent_s) / period >= ticks:
        raise InputError(
            f"{trace.name}: {ticks * period:.4g} s is too short for {plan.fill_s:g} s of filling, {plan.settle_s:g} s "
            f"of settling and {plan.vent_s:g} s of venting"
        )
    tone = tone_samples(rig.tone, ticks + 1, period, seed)
    mean, rest = mean_pressure(trace), float(np.mean(tone))
    point = clamp(rig, mean, rest)
    target = clamp(rig, mean, rest, held_offset(plan, rig, rest))
    loop = closed_loop(rig, substeps or steps_a_tick(rig, point))
    inputs = Inputs(trace.pressure_mmHg, tone, np.full(ticks + 1, rig.plant.light.ambient))
    start_at = (point.state.cuff_mmHg, target.light, point.light_slope)
    if found is not None:
        start_at = (found.cuff_mmHg, found.set_point, found.light_slope)
    around = Surroundings(float(trace.pressure_mmHg[0]), float(tone[0]), rig.plant.light.ambient)
    start = point.state if plan.filled else initial_state(rig.plant, around)
    return Ready(rig, trace, plan, point, loop, inputs, *start_at, at_rest(start), seed)


def simulate(
    rig: Rig, trace: PressureTrace, plan: Plan = USUAL, seed: int = 1, substeps: int | None = None,
    progress: Callable[[float], None] | None = None, found: Found | None = None,
) -> Run:
    """Run a rig on a pressure trace. `progress` is called with the share done.

    Set point and light slope are what a search found or, without `found`, those of the true unloaded volume at the
    trace's mean pressure (with the plan's offset or error). Raises InputError when the rig cannot clamp at that
    pressure; a run that diverges is a value, not an error.
    """
    return run_ready(prepare(rig, trace, plan, seed, substeps, found), progress)


def run_ready(ready: Ready, progress: Callable[[float], None] | None = None) -> Run:
    """Run what `prepare` has made ready."""
    ticks, inputs, orders, state = ready.ticks, ready.inputs, orders_of(ready), ready.start
    pending, rows = no_commands(ready.loop), np.zeros((ticks, len(CHANNELS)))

    def run_block(start: RunState, first: int, end: int) -> tuple[RunState, int, int]:
        block = inputs.part(first, end), orders.part(first, end)
        return run_ticks(ready.loop, ready.seed, *block, start, pending, rows[first:end])

    done, status = 0, 0
    run_block(state, 0, 0)  # compiles, which takes seconds: Ctrl-C acts at once there
    while done < ticks and status != DIVERGED:
        with uninterrupted():
            state, status, count = run_block(state, done, min(done + BLOCK, ticks))
        done += count
        if progress is not None:
            progress(done / ticks)
    columns = {name: np.ascontiguousarray(rows[:done, i]) for i, name in enumerate(CHANNELS)}
    return finished(ready, columns, status == DIVERGED, state)


def finished(ready: Ready, channels: dict[str, NDArray[Any]], diverged: bool, final: RunState) -> Run:
    """A run that has come to its end, judged: `channels` hold the ticks that it got to, command and limits included."""
    loop = ready.loop
    run = Run(ready.rig, ready.trace, ready.plan, loop.firmware.coefficients, ready.point, channels, ready.inputs.tone,
              int(loop.clock.substeps), ready.seed, "done", "", final)
    return replace(run, status="diverged", message=_divergence(run)) if diverged else _held(run)


def held_offset(plan: Plan, rig: Rig, tone: float) -> float:
    """Transmural offset [mmHg] that holds the wanted volume: the inverse of the static law."""
    from plant.finger.artery import law_at, pressure_of_area, relative_area

    artery = rig.plant.artery
    unloaded = float(unloaded_pressure(artery, tone))
    at_peak = float(relative_area(law_at(artery, tone), unloaded))
    share = at_peak * (1.0 + plan.set_point_error)
    if not 0.02 < share < 0.98:
        raise InputError(f"set-point error {plan.set_point_error:g} must keep the volume between {2.0 / at_peak:.3g} % "
                         f"and {98.0 / at_peak:.3g} % of the unloaded one")
    return plan.offset_mmHg + pressure_of_area(artery, share, tone) - unloaded


def plan_modes(plan: Plan, ticks: int, period_s: float) -> NDArray[np.int64]:
    """Mode on each tick of a run, shape (ticks,)."""
    mode = np.full(ticks, CLAMP, np.int64)
    mode[: round(plan.fill_s / period_s)] = FILL
    if plan.vent_s > 0.0:
        mode[ticks - round(plan.vent_s / period_s) :] = VENT
    return mode


def orders_of(ready: Ready) -> Orders:
    """What the firmware of a run is asked on each tick."""
    mode = plan_modes(ready.plan, ready.ticks, ready.rig.timing.period_s)
    same = (np.full(ready.ticks, value) for value in (ready.fill_mmHg, ready.set_point, ready.light_slope))
    return Orders(mode, *same)


def _divergence(run: Run) -> str:
    """When and how a run diverged, and what to try."""
    ticks, cuff = len(run.channels["mode"]), run.final.plant.cuff_mmHg
    seen = f"cuff pressure went to {cuff:.4g} mmHg" if math.isfinite(cuff) else "a pressure or the light is no number"
    return (f"the run diverged at {ticks * run.period_s:.3f} s in mode {MODES[int(run.channels['mode'][-1])]}: {seen}; "
            f"lower controller.kp, filling.gain_per_mmHg, {_strength(run)} or supply.pressure_mmHg, or shorten "
            "timing.dead_time_s")


def _strength(run: Run) -> str:
    """The key that says how much the valve can do."""
    return valve_nature(run.rig.plant.valve).strength


def _held(run: Run) -> Run:
    """The run itself, or marked as saturated when its clamp spent too much of the time at a limit."""
    clamped = run.channels["mode"] == CLAMP
    judged = run.counted if np.any(run.counted) else clamped
    limited = run.channels["limited"] > 0.5
    share = float(np.mean(limited[judged])) if np.any(judged) else 0.0
    if share <= SATURATED_SHARE:
        return run
    command, low, high = run.channels["command"], run.coefficients.output_low, run.coefficients.output_high
    edge = 1e-6 + run.coefficients.output_quantum
    at_high = float(np.mean(command[judged & limited] >= high - edge))
    at_low = float(np.mean(command[judged & limited] <= low + edge))
    if at_high + at_low < 0.5:
        what = "at its slew limit: raise controller.slew_per_s, or lower controller.kp"
    elif min(at_high, at_low) > 0.1:
        what = "swinging between both ends of its range: lower controller.kp, or shorten timing.dead_time_s"
    elif at_high > at_low:
        what = ("at controller.output_high: the valve cannot give more; raise supply.pressure_mmHg or "
                f"{_strength(run)}, or see whether the set point can be reached")
    else:
        what = (f"at controller.output_low: the valve cannot take more; lower that limit, raise {_strength(run)}, "
                "or see whether the set point can be reached")
    first = int(np.argmax(clamped & limited)) * run.period_s
    return replace(run, status="saturated", message=(
        f"the clamp does not hold: the command is at a limit for {100.0 * share:.0f} % of the time, first at "
        f"{first:.3f} s, {what}"
    ))
