"""From a clamped reading to all readings, beat by beat.

reading + level → finger at heart level → beats → upper arm by law, its waveform by filter; stroke volume → output;
variation over the whole stretch; resistance. Interruptions are bridged for the filter only, and taken out again.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.level import LevelBudget, LevelKnown, level_budget
from experiments.readings.arm.transfer import features_of, to_arm
from experiments.readings.arm.values import PRESSURES, arm_values, finger_values
from experiments.readings.beats.stream import Beats, Conditions, beats_of
from experiments.readings.fitted.store import Constants, shipped
from experiments.readings.output.estimators import ESTIMATORS, LEVEL_BLIND, SHAPE
from experiments.readings.output.interval import Contribution, Interval, interval
from experiments.readings.output.resistance import (
    Resistance,
    USUAL_VENOUS_mmHg,
    USUAL_VENOUS_SD_mmHg,
    resistance,
)
from experiments.readings.output.stroke import decade, factor_of, log_sd, stroke_mL
from experiments.readings.output.variation import Variation, Ventilation, variation
from experiments.readings.people.wearer import Wearer
from plant.errors import InputError

Samples = NDArray[np.float64]
USUAL_ESTIMATOR = "Liljestrand–Zander"
FEWEST_BEATS = 5


class Servo(NamedTuple):
    """What the loop's response does to readings of people, rms."""

    systolic_mmHg: float = 0.0
    mean_mmHg: float = 0.0
    diastolic_mmHg: float = 0.0
    output: float = 0.0  # relative


class Known(NamedTuple):
    """What is told besides the reading."""

    wearer: Wearer = Wearer()
    level: LevelKnown = LevelKnown()
    estimator: str = USUAL_ESTIMATOR
    reference_mL: float = math.nan  # stroke volume by a reference during these beats; nan: none
    reference_sd: float = 0.1  # of that reference, relative
    ventilation: Ventilation = Ventilation()
    venous_mmHg: float = USUAL_VENOUS_mmHg
    venous_sd_mmHg: float = USUAL_VENOUS_SD_mmHg
    servo: Servo = Servo()


class Readings(NamedTuple):
    """All readings; columns over beats, and intervals of the means over beats that count."""

    period_s: float
    known: Known
    beats: Beats  # at the finger, heart level
    arm_mmHg: Samples  # (beats, 3): systolic, mean, diastolic
    stroke_mL: Samples  # (beats,)
    output_L_min: Samples  # (beats,)
    finger_wave_mmHg: Samples  # (samples,) at heart level; nan where interrupted
    arm_wave_mmHg: Samples  # (samples,)
    level: LevelBudget
    summary: dict[str, Interval]  # by name
    null_output_L_min: float  # the constant that everybody is given
    pulse_variation: Variation
    stroke_variation: Variation
    resistance: Resistance


def readings(
    reading_mmHg: Samples, period_s: float, condition: Conditions, known: Known, constants: Constants | None = None
) -> Readings:
    """Readings of a clamp: cuff pressure, its period, why it must not be read where (`Reason`). Raises InputError."""
    if known.estimator not in (*ESTIMATORS, SHAPE):
        raise InputError(f"--estimator {known.estimator}: is one of {', '.join((*ESTIMATORS, SHAPE))}")
    held = shipped() if constants is None else constants
    usable = condition == 0
    if np.count_nonzero(usable) * period_s < 3.0:
        raise InputError("less than 3 s of reading without an interruption; take more of the record")
    level = level_budget(known.level, float(np.mean(reading_mmHg[usable])))
    finger = np.where(usable, reading_mmHg + level.value_mmHg, np.nan)
    beats = beats_of(np.where(usable, finger, 0.0), period_s, condition)
    if np.count_nonzero(beats.counts) < FEWEST_BEATS:
        raise InputError(f"{np.count_nonzero(beats.counts)} beats count; readings take at least {FEWEST_BEATS}")
    law = held.laws[known.estimator]
    factor = None
    if math.isfinite(known.reference_mL):
        factor = factor_of(known.estimator, law, beats, known.wearer, known.reference_mL)
    stroke = stroke_mL(known.estimator, law, beats, known.wearer, factor)
    output = np.asarray(stroke * 60e-3 / beats.interval_s)
    arm = arm_values(held.arm, known.wearer, beats)
    wave = _arm_wave(held, known.wearer, finger, beats, period_s)
    summary = _summary(known, held, beats, (arm, stroke, output), level)
    pulse = variation(beats.onset_s, beats.pulse_mmHg, beats.counts, known.ventilation, _interrupted(beats))
    strokes = variation(beats.onset_s, stroke, beats.counts, known.ventilation, _interrupted(beats))
    resisted = resistance(summary["mean"].value, summary["output"].value, summary["mean"].sd, summary["output"].sd,
                          known.venous_mmHg, known.venous_sd_mmHg)
    step = float(np.mean((arm[:, 1] - beats.mean_mmHg)[beats.counts]))
    level = level_budget(known.level, float(np.mean(reading_mmHg[usable])), step,
                         float(held.pressure_sd_mmHg["mean"][decade(known.wearer.age_years)]))
    null = 60e-3 * law.known_mL / float(np.mean(beats.interval_s[beats.counts]))
    return Readings(period_s, known, beats, arm, stroke, output, finger, wave, level, summary, null, pulse, strokes,
                    resisted)


def _interrupted(beats: Beats) -> bool:
    """Whether beats were cut off between the first and the last of them."""
    return bool(np.any(np.isnan(beats.interval_s[:-1]))) if len(beats.onset_s) else False


def _arm_wave(held: Constants, wearer: Wearer, finger: Samples, beats: Beats, period_s: float) -> Samples:
    """Upper-arm waveform; interruptions are bridged for the filter and taken out again."""
    good = np.isfinite(finger)
    index = np.arange(len(finger))
    bridged = np.interp(index, index[good], finger[good])
    counts = beats.counts
    features = features_of(wearer, float(np.mean(beats.mean_mmHg[counts])), float(np.median(beats.interval_s[counts])))
    return np.where(good, to_arm(held.transfer, features, bridged, period_s), np.nan)


def _summary(
    known: Known, held: Constants, beats: Beats, columns: tuple[Samples, Samples, Samples], level: LevelBudget
) -> dict[str, Interval]:
    """Means over the beats that count, with what bears on each."""
    arm, stroke, output = columns
    counts = beats.counts & np.all(np.isfinite(arm), axis=1) & np.isfinite(stroke)
    number = int(np.count_nonzero(counts))
    lines = tuple(Contribution(line.name, line.sd_mmHg, line.common) for line in level.lines if line.sd_mmHg > 0.0)
    finger, age = finger_values(beats), decade(known.wearer.age_years)
    found: dict[str, Interval] = {}
    for k, name in enumerate(PRESSURES):
        noise = float(np.std(arm[counts, k], ddof=1)) / math.sqrt(number)
        model = Contribution("finger to arm law", float(held.pressure_sd_mmHg[name][age]), True)
        servo = Contribution("servo", float(getattr(known.servo, f"{name}_mmHg")), True)
        own = (*lines, servo, Contribution("beats", noise, False))
        found[f"finger {name}"] = interval(float(np.mean(finger[counts, k])), own)
        found[name] = interval(float(np.mean(arm[counts, k])), (*own, model))
    rate = 60.0 / beats.interval_s[counts]
    found["rate"] = interval(60.0 / float(np.mean(beats.interval_s[counts])),
                             (Contribution("beats", float(np.std(rate, ddof=1)) / math.sqrt(number), False),))
    parts = flow_parts(known, held, beats, level, float(np.std(np.log(stroke[counts]), ddof=1)) / math.sqrt(number))
    found["stroke volume"] = interval(float(np.mean(stroke[counts])), parts, relative=True)
    found["output"] = interval(float(np.mean(output[counts])), parts, relative=True)
    area = known.wearer.surface_m2
    found["cardiac index"] = interval(found["output"].value / area, parts, relative=True)
    return found


def flow_parts(
    known: Known, held: Constants, beats: Beats, level: LevelBudget, noise: float
) -> tuple[Contribution, ...]:
    """What bears on a stroke volume or output, relative. A level-dependent estimator sees the level's error."""
    referenced = math.isfinite(known.reference_mL)
    parts = [Contribution("estimator", log_sd(held.laws[known.estimator], known.wearer, referenced), not referenced),
             Contribution("servo", known.servo.output, True), Contribution("beats", noise, False)]
    if known.estimator not in LEVEL_BLIND:
        counts = beats.counts
        total = float(np.mean((beats.systolic_mmHg + beats.diastolic_mmHg)[counts]))
        error = level.changing_sd_mmHg if referenced else level.sd_mmHg
        parts.append(Contribution("level", 2.0 * error / total, not referenced))
    if referenced:
        parts.append(Contribution("reference", known.reference_sd, True))
    return tuple(parts)
