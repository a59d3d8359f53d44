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
from controller.margins.loop import closed_loop_poles
from experiments.check.agreement import Agreement, agreement
from experiments.check.judged import Judged as Judged  # whoever asks for a check asks for these too
from experiments.check.judged import judge_loops as judge_loops
from experiments.check.judged import margin_figures as margin_figures
from experiments.check.judged import operating_pressures as operating_pressures
from experiments.check.judged import over_slope_error, with_effort
from experiments.check.judged import worst_of as worst_of
from experiments.check.tracking import Tracking, tracking, whole_beats
from experiments.rigs.requirements import Verdict, judge
from experiments.rigs.rig import Rig
from experiments.rigs.slope_error import usual_slope_error
from experiments.simulation.set_point import Calibration, calibrate
from experiments.simulation.simulate import USUAL, Plan, Run, simulate
from experiments.work.progress import part_of
from plant.errors import InputError
from plant.pressure.beats import Indices, detect_beats
from plant.pressure.record import PressureTrace
from plant.pressure.record_quality import refuse_unfit

USUAL_SEARCH = ProbingSearch()
SEARCHED = USUAL._replace(filled=True)  # the run goes on from where the search has left the finger
SHARES = {"search": 0.3, "margins": 0.35, "slope error": 0.45, "effort": 0.5, "run": 0.75}  # of the work, roughly
FEWEST_BEATS = 10  # the standard deviation of ten is itself off by 24 %, that of three by 50 %: 1/√(2(n − 1))


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
    agreement: Agreement | None = None  # of the linear prediction with the run at the true set point

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


def judge_record(trace: PressureTrace, plan: Plan = SEARCHED) -> None:
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
    rig: Rig, trace: PressureTrace, requirements: dict[str, dict[str, float]], plan: Plan = SEARCHED, seed: int = 1,
    progress: Callable[[float], None] | None = None, search: Search = USUAL_SEARCH,
) -> Check:
    """Judge a rig on a pressure record: find its set point there, then run.

    `progress` is told the share of the work done after each piece of it; what it raises ends the check. Raises
    InputError when it cannot clamp, and for a record that no rig can be judged on.
    """
    tell = progress or (lambda share: None)
    judge_record(trace, plan)
    calibration = calibrate(rig, trace, search, seed)
    found = calibration.found
    tell(SHARES["search"])
    pressures = operating_pressures(trace)
    loops = judge_loops(rig, pressures, plan.offset_mmHg, found.light_slope if found else None)
    tell(SHARES["margins"])
    loops = over_slope_error(loops, rig, pressures["mean"], usual_slope_error(rig))
    tell(SHARES["slope error"])
    loops = with_effort(loops, rig, trace)
    tell(SHARES["effort"])
    worst = worst_of(loops)
    budget = phase_budget(worst.loop, worst.margins.crossover_Hz) if math.isfinite(worst.margins.crossover_Hz) else []
    run = simulate(rig, trace, plan, seed, progress=part_of(progress, SHARES["effort"], SHARES["run"]), found=found)
    best = run if found is None else simulate(rig, trace, plan, seed, progress=part_of(progress, SHARES["run"], 1.0))
    tracked, at_best = run_tracking(run), run_tracking(best)
    figures = margin_figures(loops) | tracking_figures(run, tracked) | calibration_figures(calibration)
    return Check(rig, loops, worst, budget, calibration, run, tracked, at_best, judge(requirements, figures),
                 agreement(best, loops))


def unstable_poles(judged: Judged) -> list[complex]:
    """Closed-loop poles outside the unit circle."""
    return [complex(p) for p in closed_loop_poles(judged.loop) if abs(p) > 1.0 + 1e-9]
