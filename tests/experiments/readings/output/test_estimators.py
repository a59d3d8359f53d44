import numpy as np
import pytest

from experiments.readings.beats.delineate import Marks
from experiments.readings.beats.reasons import Reason
from experiments.readings.beats.stream import NOTHING, Beat, columns
from experiments.readings.output.estimators import (
    ESTIMATORS,
    LEVEL_BLIND,
    SHAPE_FEATURES,
    shape_features,
    slow_mean,
    stretches,
)

USUAL = Marks(0.8, 120.0, 90.0, 70.0, 0.15, 0.3, 95.0, 7.0, 9.0, 800.0, 0.1)


def train(count=20, **changes):
    return [Beat(0.8 * k, USUAL._replace(**{f: v(k) for f, v in changes.items()}), Reason.NONE) for k in range(count)]


def test_estimators_by_hand() -> None:
    beats = columns(train(1))
    found = {name: float(estimate(beats)[0]) for name, estimate in ESTIMATORS.items()}
    assert found == pytest.approx({
        "mean pressure": 72.0, "Windkessel": 50.0, "Liljestrand–Zander": 50.0 / 190.0, "systolic area": 7.0,
        "Herd": 20.0, "area balance": 25.0 * (1 + 7 / 9)})


def test_a_shift_of_the_level_does_nothing_to_those_that_are_blind_to_it() -> None:
    lifted = USUAL._replace(systolic_mmHg=130.0, mean_mmHg=100.0, diastolic_mmHg=80.0, notch_mmHg=105.0)
    one, two = columns([Beat(0.0, USUAL, Reason.NONE)]), columns([Beat(0.0, lifted, Reason.NONE)])
    for name, estimate in ESTIMATORS.items():
        assert (estimate(one)[0] == pytest.approx(estimate(two)[0])) == (name in LEVEL_BLIND), name


def test_the_slow_denominator_keeps_the_variation_of_the_pulse() -> None:
    """A breath in the pulse of ± 10 % at a constant foot stays 20 %; with each beat's own sum it would be some 14 %."""
    beats = columns(train(80, systolic_mmHg=lambda k: 120.0 + 5.0 * np.sin(2 * np.pi * 0.8 * k / 4.0)))
    found = ESTIMATORS["Liljestrand–Zander"](beats)[20:60]
    assert np.ptp(found) / np.mean(found) == pytest.approx(0.2, abs=0.01)
    own = (beats.pulse_mmHg / (beats.systolic_mmHg + beats.diastolic_mmHg))[20:60]
    assert np.ptp(own) / np.mean(own) < 0.16


def test_no_mean_reaches_across_an_interruption() -> None:
    beats = [*train(10), Beat(8.0, NOTHING, Reason.GAP), *(
        Beat(12.0 + 0.8 * k, USUAL._replace(systolic_mmHg=180.0), Reason.NONE) for k in range(10))]
    table = columns(beats)
    assert len(np.unique(stretches(table))) == 2
    mean = slow_mean(table, table.systolic_mmHg)
    assert np.all(mean[:10] == 120.0) and mean[10] == 120.0 and np.all(mean[11:] == 180.0)
    assert len(stretches(columns([]))) == 0


def test_shape_features_of_a_beat_without_marks_are_nothing() -> None:
    found = shape_features(columns([Beat(0.0, USUAL, Reason.NONE), Beat(0.8, NOTHING, Reason.GAP)]))
    assert found.shape == (2, len(SHAPE_FEATURES)) and np.all(np.isfinite(found[0])) and np.all(np.isnan(found[1]))
    assert found[0, 0] == pytest.approx(np.log(50.0))
