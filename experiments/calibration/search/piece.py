"""The unit of a study of searches: every strategy on one finger, as plain rows."""
from __future__ import annotations

import math
from typing import NamedTuple

from calibrate.protocol import Found, Instrument
from calibrate.search.strategies import Strategy, load_strategy
from controller.tick.law import design
from experiments.calibration.search.crossovers import Crossover, crossover_of, middle_slope
from experiments.calibration.search.trial import Trial, finger_trial, search_inputs
from experiments.rigs.rig import NOMINAL_mmHg, Rig, clamp, load_rig
from experiments.simulation.instrument import instrument_of
from experiments.subjects.finger import Finger
from experiments.work.packed import storable

FOUND = "found"
NO_CROSSOVER = Crossover(math.nan, False)


class Plan(NamedTuple):
    """All that decides the numbers of a study."""

    rig: str  # a built-in rig's name or a rig file
    settings: tuple[str, ...]
    strategies: tuple[str, ...]
    group: str
    seed: int
    fingers: int
    spoiled: int  # of each kind
    substeps: int  # Runge–Kutta steps a tick


class Bench(NamedTuple):
    """What all fingers of a study share."""

    rig: Rig
    strategies: tuple[Strategy, ...]
    instrument: Instrument
    substeps: int
    own_slope: float  # light per mmHg of the rig's own finger [1/mmHg]
    middle_slope: float  # of the middle finger of the population


@storable
class Row(NamedTuple):
    """One strategy on one finger."""

    finger: str
    defect: str  # empty for a finger that can be measured
    strategy: str
    outcome: str  # found, or the reason of the failure
    error_mmHg: float  # as in Calibration; ∞ when the clamp at the set point diverged
    sd_mmHg: float  # that the strategy states
    set_point: float
    cuff_mmHg: float
    light_slope: float
    slope_ratio: float  # over the true one at mean pressure and resting tone
    first_waveform_s: float
    search_s: float
    highest_mmHg: float
    crossover_Hz: float  # with the slope that was found
    stable: bool
    true_crossover_Hz: float  # with the true slope, the rig's own finger's, the middle finger's
    true_stable: bool
    own_crossover_Hz: float
    own_stable: bool
    middle_crossover_Hz: float
    middle_stable: bool
    clamp_slope_ratio: float = math.nan  # over the mean one in the clamp that follows
    first_clamp_s: float = math.nan


def make_bench(plan: Plan) -> Bench:
    """Load and work out what all fingers share. Raises InputError for a rig or strategy that cannot be used."""
    rig = load_rig(plan.rig, list(plan.settings))
    return Bench(
        rig, tuple(load_strategy(name) for name in plan.strategies), instrument_of(rig),
        plan.substeps, clamp(rig, NOMINAL_mmHg, rig.tone.level).light_slope,
        middle_slope(rig, plan.group, plan.seed),
    )


def finger_rows(bench: Bench, finger: Finger) -> list[Row]:
    """Every strategy on one finger."""
    inputs = search_inputs(bench.rig, finger, bench.instrument)
    trials = [finger_trial(bench.rig, finger, s, bench.instrument, bench.substeps, inputs) for s in bench.strategies]
    first = trials[0]
    fixed = [
        _crossover(first, slope)
        for slope in (first.point.light_slope if first.point else math.nan, bench.own_slope, bench.middle_slope)
    ]
    return [_row(finger, trial, fixed) for trial in trials]


def _crossover(trial: Trial, light_slope: float) -> Crossover:
    if trial.point is None or not light_slope > 0.0:
        return NO_CROSSOVER
    return crossover_of(trial.rig, trial.point, design(trial.rig.controller, trial.period_s), light_slope)


def _row(finger: Finger, trial: Trial, fixed: list[Crossover]) -> Row:
    calibration, outcome = trial.calibration, trial.calibration.outcome
    true, own, middle = fixed
    bare = Row(
        finger.name, finger.defect, trial.strategy.name, FOUND, *(math.nan,) * 6, calibration.first_waveform_s,
        calibration.search_s, calibration.highest_mmHg, *NO_CROSSOVER, *true, *own, *middle,
        first_clamp_s=calibration.first_clamp_s,
    )
    if not isinstance(outcome, Found):
        return bare._replace(outcome=outcome.reason)
    found = _crossover(trial, outcome.light_slope)
    return bare._replace(
        error_mmHg=calibration.error_mmHg if math.isfinite(calibration.error_mmHg) else math.inf,
        sd_mmHg=outcome.sd_mmHg, set_point=outcome.set_point, cuff_mmHg=outcome.cuff_mmHg,
        light_slope=outcome.light_slope, slope_ratio=calibration.slope_ratio, crossover_Hz=found.frequency_Hz,
        stable=found.stable, clamp_slope_ratio=calibration.clamp_slope_ratio,
    )
