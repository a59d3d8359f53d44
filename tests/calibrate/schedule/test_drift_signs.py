"""Signs of drift in a stretch of clamp."""
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Found, Instrument, Seen
from calibrate.schedule.drift_signs import BAND, Signs, band_rms, signs_of
from calibrate.schedule.schedule import Beats

TIME = np.arange(5000) * 0.001
FOUND, BEATS = Found(0.5, 0.003, 90.0, 1.0), Beats(6.0, 0.8, 120.0, 75.0, 90.0)
READING = 90.0 + 20.0 * np.sin(2 * np.pi * 1.25 * TIME)


def signs(light: np.ndarray, instrument: Instrument, found: Found = FOUND, reading: np.ndarray = READING) -> Signs:
    return signs_of(Seen(light, reading, TIME * 0.0 + 0.2, TIME * 0.0), found, BEATS, instrument)


@pytest.mark.parametrize(("frequency", "inside"), [
    (100.0, True), (80.0, True), (140.0, True), (65.0, False), (1.2, False), (160.0, False), (200.0, False)])
def test_only_the_band_counts(frequency: float, inside: bool) -> None:
    found = band_rms(3.0 * np.sin(2 * np.pi * frequency * TIME), 72.0, 144.0, 0.001)
    assert found == pytest.approx(3.0 / np.sqrt(2.0) if inside else 0.0, abs=0.02)


def test_white_noise_fills_the_band_by_its_share() -> None:
    """Parseval: a band of so many Hz holds its share of the power up to half the tick's frequency."""
    noise = np.random.default_rng(1).standard_normal(100_000)
    assert band_rms(noise, 72.0, 144.0, 0.001) == pytest.approx(np.sqrt(72.0 / 500.0), rel=0.03)


def test_a_pulse_and_a_drift_leave_the_loop_noise_alone(instrument: Instrument) -> None:
    noise = 1e-4 * np.random.default_rng(2).standard_normal(5000)
    plain = signs(0.5 + noise, instrument).loop_noise
    more = signs(0.5 + noise + 2e-3 * np.sin(2 * np.pi * 1.25 * TIME) + 1e-3 * TIME, instrument).loop_noise
    assert more == pytest.approx(plain, rel=0.02)


@given(st.floats(0.1, 10.0))
def test_signs_are_in_mmHg_of_the_set_point(instrument: Instrument, scale: float) -> None:
    """Light, set point and slope times a constant show the same; a loop error times a constant, as much more."""
    error = 1e-4 * np.sin(2 * np.pi * 100.0 * TIME)
    plain = signs(0.5 + error, instrument)
    same = signs(scale * (0.5 + error), instrument, FOUND._replace(set_point=0.5 * scale, light_slope=0.003 * scale))
    more = signs(0.5 + scale * error, instrument)
    assert same == pytest.approx(plain)
    assert more.loop_noise == pytest.approx(scale * plain.loop_noise)
    assert more.residual == pytest.approx(scale * plain.residual)


@pytest.mark.parametrize("frequency", [1.25, 5.0])
def test_the_residual_is_one_over_one_plus_the_loop_gain(instrument: Instrument, frequency: float) -> None:
    """A servo of gain K leaves 1/(1+K) of the pressure in the error and brings K/(1+K) into the reading."""
    found = []
    for gain in (3.0, 10.0, 30.0, 100.0):
        pressure = 20.0 * np.sin(2 * np.pi * frequency * TIME)
        light = 0.5 - FOUND.light_slope * pressure / (1.0 + gain)
        found.append(signs(light, instrument, reading=90.0 + pressure * gain / (1.0 + gain)).residual)
        assert found[-1] == pytest.approx(1.0 / gain, rel=1e-6)
    assert np.all(np.diff(found) < 0.0)


def test_a_mean_off_the_set_point_is_no_residual(instrument: Instrument) -> None:
    on, off = (signs(0.5 + k + 1e-4 * np.sin(2 * np.pi * 2.0 * TIME), instrument) for k in (0.0, 0.01))
    assert off.residual == pytest.approx(on.residual, rel=1e-6)


def test_the_band_moves_with_the_probing_frequency(instrument: Instrument) -> None:
    low, high = BAND
    for probe in (10.0, 36.0):
        own = instrument._replace(probe_Hz=probe)
        inside = signs(0.5 + 1e-4 * np.sin(2 * np.pi * 0.5 * (low + high) * probe * TIME), own).loop_noise
        for beyond in (0.6 * low, 1.4 * high):
            outside = signs(0.5 + 1e-4 * np.sin(2 * np.pi * beyond * probe * TIME), own).loop_noise
            assert inside > 100.0 * outside


def test_beats_and_command_are_passed_on_and_stretches_averaged(instrument: Instrument) -> None:
    quiet, loud = (signs(0.5 + a * np.sin(2 * np.pi * 100.0 * TIME), instrument) for a in (1e-4, 2e-4))
    assert quiet.pulse_mmHg == 45.0 and quiet.mean_mmHg == 90.0
    assert quiet.with_previous(loud).loop_noise == pytest.approx(1.5 * quiet.loop_noise)
    assert quiet.with_previous(quiet) == quiet


def test_a_reading_that_stands_still_divides_nothing_by_nothing(instrument: Instrument) -> None:
    assert np.isfinite(signs(np.full(5000, 0.5), instrument, reading=np.full(5000, 90.0)).residual)


def test_the_noise_of_a_clamp_is_that_of_its_loop(finger: Any, instrument: Instrument) -> None:
    """White loop error of so much light, on a finger with a pulse."""
    noisy = finger._replace(loop_error=1e-4)
    slope = finger.relative_slope * finger.set_point
    seen = noisy.answer(Clamp(finger.set_point, slope, 60.0), 0)
    found = signs_of(seen, Found(finger.set_point, slope, 85.0, 1.0), BEATS, instrument)
    share = (BAND[1] - BAND[0]) * instrument.probe_Hz / 500.0
    assert found.loop_noise == pytest.approx(1e-4 / slope * np.sqrt(share), rel=0.1)
