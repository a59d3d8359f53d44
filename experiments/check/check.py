"""The main job: margins on both sides, phase budget, tracking on a pressure record, and the verdict."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibrate.protocol import Search
from calibrate.search.probing_search import ProbingSearch
from controller.margins.budget import BudgetRow, phase_budget
from controller.margins.loop import Loop, build_loop, closed_loop_poles, loop_margins, sides
from controller.margins.margins import Margins
from controller.tick.law import design
from experiments.check.tracking import Tracking, tracking, whole_beats
from experiments.rigs.requirements import Verdict, judge
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.set_point import Calibration, calibrate
from experiments.simulation.simulate import USUAL, Plan, Run, mean_pressure, simulate
from plant.errors import InputError
from plant.pressure.beats import Indices, detect_beats
from plant.pressure.record import PressureTrace
from plant.pressure.record_quality import refuse_unfit

USUAL_SEARCH = ProbingSearch()
FEWEST_BEATS = 10  # the standard deviation of ten is itself off by 24 %, that of three by 50 %: 1/√(2(n − 1))


@dataclass(frozen=True)
class Judged:
    """One loop with its margins, and what it is called."""

    name: str
    loop: Loop
    margins: Margins


@dataclass(frozen=True)
class Check:
    """All that `cuffloop check` found."""

    rig: Rig
    loops: list[Judged]
    worst: Judged
    budget: list[BudgetRow]
    calibration: Calibration
    run: Run  # at the set point that was found, or at the true one after a failure
    tracking: Tracking | None  # None when the run diverged before it counted
    best: Tracking | None  # of the same run at the true set point
    verdicts: list[Verdict]

    @property
    def passed(self) -> bool:
        """Whether a set point was found, the run ended, and every limit is kept on a record that can show it."""
        return self.kept and not self.narrow

    @property
    def kept(self) -> bool:
        """The same, whatever the record can show."""
        return self.calibration.found is not None and self.run.status == "done" and all(v.passed for v in self.verdicts)

    @property
    def narrow(self) -> bool:
        """Whether the record lacks the quick part of a pulse, so that limits kept on it prove nothing."""
        quality = self.run.trace.quality
        return quality is not None and quality.narrow


def judge_loops(
    rig: Rig, pressures_mmHg: dict[str, float], offset_mmHg: float = 0.0, light_slope: float | None = None
) -> list[Judged]:
    """Margins at each named arterial pressure, on each side of the valve.

    The error is normalised by `light_slope` [1/mmHg] or, without it, by the true one at the first pressure named: one
    calibration for all of them.
    """
    coefficients = design(rig.controller, rig.timing.period_s)
    found, slope = [], light_slope
    for name, pressure in pressures_mmHg.items():
        point = clamp(rig, pressure, rig.tone.level, offset_mmHg)
        slope = slope or clamp(rig, pressure, rig.tone.level).light_slope
        for side in sides(rig.plant):
            loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, coefficients, slope)
            label = f"{name}, {side}" if len(sides(rig.plant)) > 1 else name
            found.append(Judged(label, loop, loop_margins(loop)))
    return found


def worst_of(loops: list[Judged]) -> Judged:
    """The loop that decides: an unstable one first, then the smallest modulus margin."""
    return min(loops, key=lambda j: (j.margins.stable, j.margins.modulus_margin))


def operating_pressures(trace: PressureTrace) -> dict[str, float]:
    """The pressures at which margins are judged: mean, and the 5th and 95th percentile of the record [mmHg]."""
    values = trace.pressure_mmHg[trace.usable]
    low, high = np.percentile(values, [5.0, 95.0])
    return {"mean": mean_pressure(trace), "low": float(low), "high": float(high)}


def margin_figures(loops: list[Judged]) -> dict[str, float]:
    """The worst of each margin over all loops; NaN when one of them is unstable or could not be followed."""
    sound = all(j.margins.stable and j.margins.resolved for j in loops)

    def least(values: list[float]) -> float:
        return min(values) if sound else math.nan

    found = [j.margins for j in loops]
    reductions = [-20 * math.log10(m.gain_reduction_margin) if m.gain_reduction_margin > 0 else math.inf for m in found]
    return {
        "gain_margin_dB": least([20 * math.log10(m.gain_margin) for m in found]),
        "gain_reduction_margin_dB": least(reductions),
        "phase_margin_deg": least([m.phase_margin_deg for m in found]),
        "delay_margin_s": least([m.delay_margin_s for m in found]),
        "delay_margin_ticks": least([m.delay_margin_ticks for m in found]),
        "modulus_margin": least([m.modulus_margin for m in found]),
        "sensitivity_peak": -least([-m.sensitivity_peak for m in found]),
        "crossover_Hz": least([m.crossover_Hz for m in found]),
        "bandwidth_Hz": least([m.bandwidth_Hz for m in found]),
    }


def run_tracking(run: Run, onsets: Indices | None = None, harmonics: bool = True) -> Tracking | None:
    """Tracking figures of a run over the ticks that count; None when there are too few.

    Beats of its arterial pressure that are known (`detect_beats`) are not looked for again.
    """
    counted = run.counted
    if np.count_nonzero(counted) * run.period_s < 2.0:
        return None
    return tracking(
        run.channels["cuff_mmHg"], run.channels["arterial_mmHg"], run.ideal_mmHg, run.channels["limited"] > 0.5,
        counted, run.period_s, onsets, harmonics,
    )


def tracking_figures(run: Run, found: Tracking | None) -> dict[str, Any]:
    """Tracking figures under the names that requirements use."""
    highest = {"cuff_mmHg": float(np.max(run.channels["cuff_mmHg"]))}
    if found is None:
        return highest
    beats = found.ideal_beats
    return highest | {
        "rms_error_mmHg": found.ideal.rms_mmHg,
        "peak_error_mmHg": found.ideal.peak_mmHg,
        "bias_mmHg": abs(found.ideal.bias_mmHg),
        "beat_systolic_error_mmHg": {"mean": beats.systolic.mean_mmHg, "sd": beats.systolic.sd_mmHg},
        "beat_systolic_error_percent": {
            "mean": 100.0 * beats.systolic.mean_mmHg / found.pulse_mmHg,
            "sd": 100.0 * beats.systolic.sd_mmHg / found.pulse_mmHg,
        },
        "beat_mean_error_mmHg": {"mean": beats.mean.mean_mmHg, "sd": beats.mean.sd_mmHg},
        "beat_diastolic_error_mmHg": {"mean": beats.diastolic.mean_mmHg, "sd": beats.diastolic.sd_mmHg},
        "saturation_share": found.saturation_share,
    }


def calibration_figures(calibration: Calibration) -> dict[str, float]:
    """Figures of the search under the names that requirements use."""
    return {
        "set_point_error_mmHg": abs(calibration.error_mmHg), "first_waveform_s": calibration.first_waveform_s,
        "search_s": calibration.search_s if calibration.found else math.nan,
    }


def judge_record(trace: PressureTrace, plan: Plan = USUAL) -> None:
    """Raise InputError for a trace with faults, or with too few beats where tracking counts, to judge a rig on."""
    if trace.quality is not None:
        refuse_unfit(trace.quality, trace.name)
    onsets = detect_beats(trace.pressure_mmHg, trace.period_s)
    counted = trace.usable.copy()
    lost_s = plan.fill_s + plan.settle_s
    counted[: round(lost_s / trace.period_s)] = False
    beats = int(np.count_nonzero(whole_beats(onsets, counted)))
    if beats < FEWEST_BEATS:
        raise InputError(
            f"{trace.name}: {beats} whole beats count after {lost_s:g} s of filling and settling; a verdict needs "
            f"{FEWEST_BEATS}: the standard deviation over fewer is off by more than a quarter. Take more with --seconds"
        )


def check(
    rig: Rig, trace: PressureTrace, requirements: dict[str, dict[str, float]], plan: Plan = USUAL, seed: int = 1,
    progress: Callable[[float], None] | None = None, search: Search = USUAL_SEARCH,
) -> Check:
    """Judge a rig on a pressure record: find its set point there, then run.

    Raises InputError when it cannot clamp, and for a record that no rig can be judged on.
    """
    judge_record(trace, plan)
    calibration = calibrate(rig, trace, search, seed)
    found = calibration.found
    loops = judge_loops(rig, operating_pressures(trace), plan.offset_mmHg, found.light_slope if found else None)
    worst = worst_of(loops)
    budget = phase_budget(worst.loop, worst.margins.crossover_Hz) if math.isfinite(worst.margins.crossover_Hz) else []
    run = simulate(rig, trace, plan, seed, progress=progress, found=found)
    best = run if found is None else simulate(rig, trace, plan, seed)
    tracked, at_best = run_tracking(run), run_tracking(best)
    figures = margin_figures(loops) | tracking_figures(run, tracked) | calibration_figures(calibration)
    return Check(rig, loops, worst, budget, calibration, run, tracked, at_best, judge(requirements, figures))


def unstable_poles(judged: Judged) -> list[complex]:
    """Closed-loop poles outside the unit circle."""
    return [complex(p) for p in closed_loop_poles(judged.loop) if abs(p) > 1.0 + 1e-9]
