"""From a clamped reading to all readings, beat by beat.

reading + level → finger at heart level → what the servo did taken back → beats → upper arm by law with a waveform by
filter, or both by a tube; moved by what upper-arm cuffs have read; stroke volume → output; variation over the whole
stretch; resistance. Interruptions are bridged for the filter only, and taken out again.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.level import LevelBudget, LevelKnown, level_budget, referred
from calibrate.reference import Referenced
from experiments.readings.arm.agreeing import agreed, feet
from experiments.readings.arm.transfer import features_of, to_arm
from experiments.readings.arm.tube import tube_to_arm
from experiments.readings.arm.values import PRESSURES, arm_values, finger_values, wave_values
from experiments.readings.beats.stream import Beats, Conditions, beats_of
from experiments.readings.chain.by_cuff import CuffReading, by_cuff
from experiments.readings.fitted.breath_law import shipped_breath
from experiments.readings.fitted.store import Constants, shipped
from experiments.readings.output.breath_gain import breath_features, breath_gain
from experiments.readings.output.estimators import ESTIMATORS, LEVEL_BLIND, SHAPE
from experiments.readings.output.interval import Contribution, Interval, interval
from experiments.readings.output.resistance import (
    Resistance,
    USUAL_VENOUS_mmHg,
    USUAL_VENOUS_SD_mmHg,
    resistance,
)
from experiments.readings.output.stroke import decade, exponent, factor_of, log_sd, stroke_mL
from experiments.readings.output.variation import Variation, Ventilation, scaled, variation
from experiments.readings.people.wearer import Wearer
from experiments.readings.servo.inverse import ServoKnown, undone
from plant.errors import InputError

Samples = NDArray[np.float64]
USUAL_ESTIMATOR = "Liljestrand–Zander"
ARMS = ("law", "tube")  # ways from the finger to the upper arm
FEWEST_BEATS = 5


class Servo(NamedTuple):
    """What is left of the loop's response in readings of people, rms."""

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
    loop: ServoKnown | None = None  # that wrote the reading; None: a perfect one
    arm: str = "law"  # one of ARMS
    cuff: tuple[CuffReading, ...] = ()  # read at the upper arm during the run


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
    reference: Referenced | None  # what cuff readings have made of it


class Seen(NamedTuple):
    """Of beats: the upper arm before and after references, and what they made of it."""

    arm_mmHg: Samples
    beats: Beats  # at the finger, as stroke volume is estimated from them
    wave_mmHg: Samples
    reference: Referenced | None


def readings(
    reading_mmHg: Samples, period_s: float, condition: Conditions, known: Known, constants: Constants | None = None
) -> Readings:
    """Readings of a clamp: cuff pressure, its period, why it must not be read where (`Reason`). Raises InputError."""
    if known.estimator not in (*ESTIMATORS, SHAPE):
        raise InputError(f"--estimator {known.estimator}: is one of {', '.join((*ESTIMATORS, SHAPE))}")
    if known.arm not in ARMS:
        raise InputError(f"--arm {known.arm}: is one of {', '.join(ARMS)}")
    held = shipped() if constants is None else constants
    usable = condition == 0
    if np.count_nonzero(usable) * period_s < 3.0:
        raise InputError("less than 3 s of reading without an interruption; take more of the record")
    level = level_budget(known.level, float(np.mean(reading_mmHg[usable])))
    finger = undone(np.where(usable, reading_mmHg + level.value_mmHg, np.nan), period_s, known.loop)
    beats = beats_of(np.where(usable, finger, 0.0), period_s, condition)
    if np.count_nonzero(beats.counts) < FEWEST_BEATS:
        raise InputError(f"{np.count_nonzero(beats.counts)} beats count; readings take at least {FEWEST_BEATS}")
    seen = _seen(known, held, finger, beats, period_s)
    law = held.laws[known.estimator]
    factor = None
    if math.isfinite(known.reference_mL):
        factor = factor_of(known.estimator, law, seen.beats, known.wearer, known.reference_mL)
    stroke = stroke_mL(known.estimator, law, seen.beats, known.wearer, factor)
    output = np.asarray(stroke * 60e-3 / beats.interval_s)
    summary = _summary(known, held, beats, (seen.arm_mmHg, stroke, output), (level, seen.reference))
    pulse = variation(beats.onset_s, beats.pulse_mmHg, beats.counts, known.ventilation, _interrupted(beats))
    strokes = _stroke_variation(known, seen.beats)
    resisted = resistance(summary["mean"].value, summary["output"].value, summary["mean"].sd, summary["output"].sd,
                          known.venous_mmHg, known.venous_sd_mmHg)
    step = float(np.nanmean((seen.arm_mmHg[:, 1] - beats.mean_mmHg)[beats.counts]))
    shift = 0.0 if seen.reference is None else seen.reference.shift_mmHg
    level = level_budget(known.level, float(np.mean(reading_mmHg[usable])), step - shift,
                         float(_left_mmHg(known, held, "mean")))
    if seen.reference is not None:
        level = referred(level, shift, _referred_sd(seen.reference, summary["mean"].value, beats))
    null = 60e-3 * law.known_mL / float(np.mean(beats.interval_s[beats.counts]))
    return Readings(period_s, known, beats, seen.arm_mmHg, stroke, output, finger, seen.wave_mmHg, level, summary, null,
                    pulse, strokes, resisted, seen.reference)


def _stroke_variation(known: Known, beats: Beats) -> Variation:
    """Variation of stroke volume: that of the usual estimator times the gain of this stretch."""
    found = variation(beats.onset_s, ESTIMATORS[USUAL_ESTIMATOR](beats), beats.counts, known.ventilation,
                      _interrupted(beats))
    if math.isnan(found.breaths_per_min):
        return found
    law = shipped_breath()
    features, signal = breath_features(beats, beats.counts, found.breaths_per_min / 60.0, known.wearer)
    return scaled(found, breath_gain(law, features, signal), law.sd)


def _seen(known: Known, held: Constants, finger: Samples, beats: Beats, period_s: float) -> Seen:
    """The upper arm by the chosen way, and by cuff readings where there are any."""
    wave = _arm_wave(known, held, finger, beats, period_s)
    if known.arm == "tube":
        arm = wave_values(wave, period_s, feet(wave, period_s, beats.onset_s), beats)
    else:
        arm = arm_values(held.arm, known.wearer, beats)
    reference = by_cuff(known.cuff, beats, arm) if known.cuff else None
    if reference is not None:
        arm = reference.apply(arm)
        wave = reference.apply(wave)
        shift = reference.shift_mmHg
        beats = beats._replace(**{name: getattr(beats, name) + shift for name in (
            "systolic_mmHg", "mean_mmHg", "diastolic_mmHg", "notch_mmHg")})
    if known.arm == "law":
        wave = agreed(wave, period_s, beats.onset_s, beats.interval_s, arm)
    return Seen(arm, beats, wave, reference)


def _left_mmHg(known: Known, held: Constants, name: str) -> float:
    """SD that the way to the upper arm leaves of a pressure: at large, or as change since a cuff reading."""
    held_sd = {("law", False): held.pressure_sd_mmHg, ("law", True): held.pressure_change_sd_mmHg,
               ("tube", False): held.tube_sd_mmHg, ("tube", True): held.tube_change_sd_mmHg}
    return float(held_sd[known.arm, bool(known.cuff)][name][decade(known.wearer.age_years)])


def _referred_sd(reference: Referenced, pressure_mmHg: float, beats: Beats) -> float:
    """SD that references leave at a pressure, in the middle of the run."""
    return reference.sd_mmHg(pressure_mmHg, max(float(np.median(beats.onset_s)), reference.time_s))


def _interrupted(beats: Beats) -> bool:
    """Whether beats were cut off between the first and the last of them."""
    return bool(np.any(np.isnan(beats.interval_s[:-1]))) if len(beats.onset_s) else False


def _arm_wave(known: Known, held: Constants, finger: Samples, beats: Beats, period_s: float) -> Samples:
    """Upper-arm waveform by filter or tube; interruptions are bridged for the filter and taken out again."""
    good = np.isfinite(finger)
    index = np.arange(len(finger))
    bridged = np.interp(index, index[good], finger[good])
    if known.arm == "tube":
        return np.where(good, tube_to_arm(known.wearer, bridged, period_s), np.nan)
    mean, interval_s = beats.mean_mmHg[beats.counts], beats.interval_s[beats.counts]
    features = features_of(known.wearer, float(np.mean(mean)), float(np.median(interval_s)))
    return np.where(good, to_arm(held.transfer, features, bridged, period_s), np.nan)


def _summary(
    known: Known, held: Constants, beats: Beats, columns: tuple[Samples, Samples, Samples],
    levels: tuple[LevelBudget, Referenced | None]
) -> dict[str, Interval]:
    """Means over the beats that count, with what bears on each."""
    (arm, stroke, output), (level, reference) = columns, levels
    counts = beats.counts & np.all(np.isfinite(arm), axis=1) & np.isfinite(stroke)
    number = int(np.count_nonzero(counts))
    lines = tuple(Contribution(line.name, line.sd_mmHg, line.common) for line in level.lines if line.sd_mmHg > 0.0)
    finger = finger_values(beats)
    found: dict[str, Interval] = {}
    for k, name in enumerate(PRESSURES):
        noise = float(np.std(arm[counts, k], ddof=1)) / math.sqrt(number)
        model = Contribution(f"finger to arm by {known.arm}", _left_mmHg(known, held, name), reference is None)
        servo = Contribution("servo", float(getattr(known.servo, f"{name}_mmHg")), True)
        own = (*lines, servo, Contribution("beats", noise, False))
        found[f"finger {name}"] = interval(float(np.mean(finger[counts, k])), own)
        value = float(np.mean(arm[counts, k]))
        if reference is not None:  # it takes the place of the level's lines and of what the servo always does
            own = (Contribution("cuff reference", _referred_sd(reference, value, beats), True), own[-1])
        found[name] = interval(value, (*own, model))
    rate = 60.0 / beats.interval_s[counts]
    found["rate"] = interval(60.0 / float(np.mean(beats.interval_s[counts])),
                             (Contribution("beats", float(np.std(rate, ddof=1)) / math.sqrt(number), False),))
    if reference is not None:
        level = referred(level, reference.shift_mmHg, _referred_sd(reference, found["mean"].value, beats))
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
    referenced, law = math.isfinite(known.reference_mL), held.laws[known.estimator]
    steep = exponent(law, known.wearer) if referenced and known.estimator != SHAPE else 1.0  # of what is seen
    parts = [Contribution("estimator", log_sd(law, known.wearer, referenced), not referenced),
             Contribution("servo", steep * known.servo.output, True), Contribution("beats", noise, False)]
    if known.estimator not in LEVEL_BLIND:
        counts = beats.counts
        total = float(np.mean((beats.systolic_mmHg + beats.diastolic_mmHg)[counts]))
        error = level.changing_sd_mmHg if referenced else level.sd_mmHg
        parts.append(Contribution("level", steep * 2.0 * error / total, not referenced))
    if referenced:
        parts.append(Contribution("reference", known.reference_sd, True))
    return tuple(parts)
