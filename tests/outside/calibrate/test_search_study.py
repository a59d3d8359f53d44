"""The study of searches against what others published of pulses, light and statistics.

Tags: [seen] read in the published text, [memory, high/medium/low] not looked up, [computed] mathematics. A value tagged
medium or low is only a band, two times wide.
"""
import math

import numpy as np
import pytest
from scipy.stats import norm

from calibrate.protocol import Found, Instrument
from calibrate.search.searches import ClassroomSearch
from calibrate.search.staircase import Staircase
from calibrate.search.strategies import Strategy, load_strategy
from controller.tick.law import design
from experiments.calibration.search.crossovers import crossover_of, spread_of
from experiments.calibration.search.piece import FOUND, Row
from experiments.calibration.search.staircase import step_rows
from experiments.calibration.search.summary import TWO_SIDED_90, summary_of
from experiments.calibration.search.trial import finger_trial
from experiments.rigs.rig import Rig, clamp, load_rig
from experiments.simulation.instrument import instrument_of
from experiments.subjects.finger import Finger, on_finger
from experiments.subjects.population import sample_fingers


@pytest.fixture(scope="module")
def rig() -> Rig:
    return load_rig("wrist")


@pytest.fixture(scope="module")
def instrument(rig: Rig) -> Instrument:
    return instrument_of(rig)


FINGERS = sample_fingers(12)


def test_the_classroom_rule_errs_to_one_side(rig: Rig, instrument: Instrument) -> None:
    """Mean pressure lies below the middle of the pulse: form factors of 0.33–0.5 (Chemla et al. 2002 [seen], 5.4).

    By a symmetric law the largest pulsation puts the pulse's middle at the unloaded volume, its mean therefore below:
    an error that is negative, whoever's finger it is (a law wider above its peak moves that the other way). Fine steps,
    and no veins, tone, creep or breath, so that nothing else moves.
    """
    fine = Strategy("fine", "", ClassroomSearch(Staircase(first_mmHg=20.0, spacing_mmHg=10.0)))
    errors = []
    for finger in FINGERS:
        quiet = finger._replace(
            vein=finger.vein._replace(least_volume=1.0), light=finger.light._replace(venous_path_cm=0.0),
            tone=finger.tone._replace(wander=0.0, wave=0.0),
            artery=finger.artery._replace(fast_fraction=1.0, collapse_ratio=1.0),
            pressure=finger.pressure._replace(respiration_mmHg=0.0, wave_mmHg=0.0, respiration_pulse=0.0))
        calibration = finger_trial(rig, quiet, fine, instrument, 5).calibration
        if isinstance(calibration.outcome, Found):
            errors.append(calibration.error_mmHg)
    assert len(errors) >= 10
    assert np.mean(np.array(errors) < 0.0) >= 0.9 and -15.0 < np.median(errors) < -2.0


def test_pulsations_are_as_large_as_in_fingers(rig: Rig, instrument: Instrument) -> None:
    """AC/DC of a finger in the infrared is 0.5–5 %, 0.1–20 % with tone [memory, medium] (2.6); two times wide."""
    for finger in FINGERS:
        rows = step_rows(finger_trial(rig, finger, load_strategy("arctangent"), instrument, 5))
        assert 0.0005 < max(r.pulsation for r in rows) < 0.4


def test_a_first_waveform_within_twenty_seconds(rig: Rig, instrument: Instrument) -> None:
    """A first waveform appears in about 20 s: common practice, no source."""
    strategy = load_strategy("probing")
    first = [finger_trial(rig, f, strategy, instrument, 5).calibration.first_waveform_s for f in FINGERS]
    assert np.mean(np.array(first) <= 20.0) >= 0.95 and min(first) > 3.0


def row(error: float, sd: float) -> Row:
    return Row("f", "", "a", FOUND, error, sd, 0.4, 90.0, 1e-4, 1.0, 12.0, 20.0, 140.0, *(35.0, True) * 4)


def test_normal_errors_lie_in_their_interval_nine_times_in_ten() -> None:
    """The two-sided 90 % interval of a normal distribution is ± 1.6449 standard deviations [computed]."""
    assert norm.ppf(0.95) == pytest.approx(TWO_SIDED_90, abs=2e-4)
    random = np.random.default_rng(5)
    sds = random.uniform(0.3, 5.0, 4000)
    normal = random.standard_normal(4000)
    found = summary_of([row(float(s * z), float(s)) for s, z in zip(sds, normal, strict=True)], "a")
    assert found.inside == pytest.approx(0.9, abs=0.015)
    # and the median of |error| over SD is 0.6745 of a standard deviation
    alike = summary_of([row(float(z), 1.0) for z in normal], "a")
    assert alike.median_mmHg == pytest.approx(norm.ppf(0.75), abs=0.03)


def test_a_normalised_error_is_blind_to_the_lamp(rig: Rig) -> None:
    """Doubling the lamp leaves AC/DC unchanged (Beer–Lambert; 2.4 [memory, high]): light and its slope scale alike, so
    the crossover with a finger's own slope stays, while that with one slope for all moves.
    """
    own, one = [], []
    for emitter in (0.5, 1.0):
        light = rig.plant.light._replace(emitter=emitter, ambient=0.0)
        dim = rig._replace(plant=rig.plant._replace(light=light))
        finger: Finger = FINGERS[0]._replace(light=FINGERS[0].light._replace(ambient=0.0))
        on = on_finger(dim, finger)
        point = clamp(on, 90.0, finger.tone.level)
        coefficients = design(on.controller, on.timing.period_s)
        own.append(crossover_of(on, point, coefficients, point.light_slope))
        one.append(crossover_of(on, point, coefficients, 2e-4))
    assert own[0].frequency_Hz == pytest.approx(own[1].frequency_Hz, rel=1e-9)
    assert one[1].frequency_Hz > 1.2 * one[0].frequency_Hz
    assert spread_of(own).sd_log < 1e-6 and not math.isnan(spread_of(one).sd_log)
