"""One run of a rig on one pressure trace: fill, clamp, and vent if asked, with the set point given."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.firmware import CLAMP, FILL, MODES, VENT, Firmware, FirmwareState
from controller.law import Coefficients, design, initial_control
from controller.timing import dead_ticks
from experiments.coupled import CHANNELS, DIVERGED, Inputs, Orders, RunState, run_ticks, start_clock
from experiments.rig import Rig
from plant.artery import unloaded_pressure
from plant.assembly import Surroundings, initial_state
from plant.errors import InputError
from plant.operating_point import OperatingPoint, clamp_point, substeps_needed
from plant.pressure_record import PressureTrace
from plant.tone import tone_samples

Samples = NDArray[np.float64]
BLOCK = 20_000  # ticks between looks at the progress bar


class Plan(NamedTuple):
    """How the run goes: fill for a while, clamp for the rest of the trace, vent at its end."""

    fill_s: float = 2.0  # filling and waiting at the mean arterial pressure before the clamp
    settle_s: float = 3.0  # of clamping that does not count: the set point is true only once the wall has settled
    vent_s: float = 0.0  # of venting at the end of the trace
    offset_mmHg: float = 0.0  # transmural offset of the set point from peak compliance
    set_point_error: float = 0.0  # relative error of the arterial volume held, 0.1 for 10 % too large


@dataclass(frozen=True)
class Run:
    """What came out. `status` is 'done' or 'diverged'; `message` says when and what to try."""

    rig: Rig
    trace: PressureTrace
    plan: Plan
    coefficients: Coefficients
    point: OperatingPoint
    channels: dict[str, Samples]  # by name, one sample a tick
    tone: Samples
    substeps: int
    seed: int
    status: str
    message: str
    final: RunState

    @property
    def period_s(self) -> float:
        return self.rig.timing.period_s

    @property
    def ideal_mmHg(self) -> Samples:
        """What a perfect clamp at the unloaded volume would read: arterial pressure minus p0, through the tissue."""
        p0 = unloaded_pressure(self.rig.plant.artery, self.tone[: len(self.channels["cuff_mmHg"])])
        return np.asarray(self.channels["arterial_mmHg"] - p0)

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Ticks that count for tracking: clamped, settled, and with a usable record."""
        ticks = len(self.channels["mode"])
        clamped = self.channels["mode"] == CLAMP
        first = round((self.plan.fill_s + self.plan.settle_s) / self.period_s)
        return np.asarray(clamped & (np.arange(ticks) >= first) & self.trace.usable[:ticks])


def mean_pressure(trace: PressureTrace) -> float:
    """Mean arterial pressure over the usable part of a trace [mmHg]."""
    return float(np.mean(trace.pressure_mmHg[trace.usable]))


def simulate(
    rig: Rig, trace: PressureTrace, plan: Plan = Plan(), seed: int = 1, substeps: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Run:
    """Run a rig on a pressure trace. `progress` is called with the share done.

    The light set point is that of the true unloaded volume at the trace's mean pressure (with the plan's offset or
    error). Raises InputError when the rig cannot clamp at that pressure; a run that diverges is a value, not an error.
    """
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
    point = clamp_point(rig.plant, mean, rest)
    target = clamp_point(rig.plant, mean, rest, _offset(plan, rig, rest))
    coefficients = design(rig.controller, period)
    firmware = Firmware(coefficients, rig.stage, rig.filling)
    steps = substeps or substeps_needed(rig.plant, [point], period)
    whole, share = dead_ticks(rig.timing)
    clock = start_clock(rig.timing, whole, share, steps, rig.plant.transducer.drift_mmHg_h)
    inputs = Inputs(trace.pressure_mmHg, tone, np.full(ticks + 1, rig.plant.light.ambient))
    orders = _orders(plan, ticks, period, point.state.cuff_mmHg, target.light, point.light_slope)
    around = Surroundings(float(trace.pressure_mmHg[0]), float(tone[0]), rig.plant.light.ambient)
    state = RunState(initial_state(rig.plant, around), FirmwareState(initial_control(), 0.0, FILL), 0.0, 0)
    pending, rows = np.zeros(whole + 2), np.zeros((ticks, len(CHANNELS)))
    done, status = 0, 0
    while done < ticks and status != DIVERGED:
        end = min(done + BLOCK, ticks)
        part = Inputs(*(v[done : end + 1] for v in inputs))
        state, status, count = run_ticks(
            rig.plant, firmware, clock, seed, part, Orders(*(v[done:end] for v in orders)), state, pending,
            rows[done:end],
        )
        done += count
        if progress is not None:
            progress(done / ticks)
    columns = {name: np.ascontiguousarray(rows[:done, i]) for i, name in enumerate(CHANNELS)}
    diverged = status == DIVERGED
    return Run(
        rig, trace, plan, coefficients, point, columns, tone, steps, seed, "diverged" if diverged else "done",
        _advice(done * period, columns) if diverged else "", state,
    )


def _offset(plan: Plan, rig: Rig, tone: float) -> float:
    """Transmural offset [mmHg] that holds the wanted volume: the inverse of the arctangent law."""
    from plant.artery import half_width

    share = 0.5 * (1.0 + plan.set_point_error)
    if not 0.02 < share < 0.98:
        raise InputError(f"set-point error {plan.set_point_error:g} must keep the volume between 4 % and 196 % of half")
    return plan.offset_mmHg + float(half_width(rig.plant.artery, tone) * np.tan(np.pi * (share - 0.5)))


def _orders(plan: Plan, ticks: int, period: float, fill_mmHg: float, set_point: float, slope: float) -> Orders:
    mode = np.full(ticks, CLAMP, np.int64)
    mode[: round(plan.fill_s / period)] = FILL
    if plan.vent_s > 0.0:
        mode[ticks - round(plan.vent_s / period) :] = VENT
    return Orders(mode, np.full(ticks, fill_mmHg), np.full(ticks, set_point), np.full(ticks, slope))


def _advice(time_s: float, columns: dict[str, Samples]) -> str:
    mode = MODES[int(columns["mode"][-1])]
    return (f"the run diverged at {time_s:.3f} s in mode {mode}: cuff pressure left the range of any supply; "
            "lower controller.kp, shorten timing.dead_time_s, or ask for more substeps")

