"""The recorded beat: found, averaged, laid out and aligned."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.search.waveform import align, lay, moving_mean, record_beat, upstrokes
from plant.pressure.synthetic import STEADY, synthesise

TICK = 1e-3


def reading(rate: float = 75.0, seconds: float = 4.0) -> np.ndarray:
    return synthesise(STEADY._replace(rate_per_min=rate), TICK, seconds, 1).pressure_mmHg


@settings(max_examples=10, deadline=None)
@given(st.floats(45, 140))
def test_interval_and_level(rate: float) -> None:
    signal = reading(rate, 6.0)
    beat = record_beat(signal, TICK)
    assert beat is not None
    assert beat.interval_s == pytest.approx(60.0 / rate, abs=3e-3)
    whole = round(60.0 / rate / TICK)
    assert beat.level_mmHg == pytest.approx(np.mean(signal[: 3 * whole]), abs=0.3)
    assert np.ptp(beat.shape_mmHg[:whole]) == pytest.approx(np.ptp(signal), rel=0.03)


def test_a_drift_is_taken_out_of_the_shape() -> None:
    signal = reading()
    still, drifting = record_beat(signal, TICK), record_beat(signal + 3.0 * np.arange(len(signal)) * TICK, TICK)
    assert still is not None and drifting is not None
    assert drifting.shape_mmHg[:700] == pytest.approx(still.shape_mmHg[:700], abs=0.3)
    assert np.diff(drifting.level_mmHg) == pytest.approx(3.0 * beat_apart(drifting.middle_s), abs=0.1)


def beat_apart(middle_s: np.ndarray) -> np.ndarray:
    return np.diff(middle_s)


def test_laid_out_beats_are_the_recording() -> None:
    signal = reading()
    beat = record_beat(signal, TICK)
    assert beat is not None
    at = np.array(upstrokes(signal, TICK, 0.33, 0.5)) * TICK
    time = np.arange(500, 3000) * TICK
    value, rate = lay(beat, time, at)
    assert value + np.mean(signal[:800]) == pytest.approx(signal[500:3000], abs=1.5)
    assert np.sqrt(np.mean((rate - np.gradient(signal, TICK)[500:3000]) ** 2)) < 0.1 * np.std(np.gradient(signal, TICK))


@settings(max_examples=10, deadline=None)
@given(st.floats(-0.05, 0.05), st.floats(-1, 1))
def test_alignment_undoes_a_shift(late: float, slope: float) -> None:
    beat = record_beat(reading(), TICK)
    assert beat is not None
    time, at = (np.arange(80) + 0.5) * 0.02, np.array([0.3, 1.1])
    depth = 0.01 * lay(beat, time, at)[0] + slope * time
    found = align(beat, at + late, time, depth, lambda v, near: v)
    assert found == pytest.approx(at, abs=0.008)


def test_nothing_to_record() -> None:
    assert record_beat(np.full(3000, 80.0), TICK) is None
    assert record_beat(reading(40.0)[:1000], TICK) is None


@given(st.floats(-100, 100), st.integers(1, 30))
def test_moving_mean_of_a_constant(value: float, width: int) -> None:
    assert moving_mean(np.full(100, value), width) == pytest.approx(value)
