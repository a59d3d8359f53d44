"""Tone over time: by seed, at its frequency, with its time constants."""
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.finger.tone import ToneDrive, exposure, tone_samples

few = settings(max_examples=40, deadline=None)
drives = st.from_type(ToneDrive)
seeds = st.integers(0, 2**32)


@few
@given(drives, st.integers(2, 300), st.floats(1e-3, 1), seeds)
def test_same_seed_same_samples(drive: ToneDrive, ticks: int, period_s: float, seed: int) -> None:
    """Bit for bit, and a shorter run is the beginning of a longer one."""
    samples = tone_samples(drive, ticks, period_s, seed)
    assert samples.shape == (ticks,) and np.all(np.isfinite(samples))
    np.testing.assert_array_equal(samples, tone_samples(drive, ticks, period_s, seed))
    np.testing.assert_array_equal(samples[: ticks // 2], tone_samples(drive, ticks // 2, period_s, seed))


@few
@given(st.floats(0.01, 2), st.floats(0.01, 2), seeds)
def test_another_seed_another_course(wander: float, wave: float, seed: int) -> None:
    """Both the wander and the phase of the waves are drawn."""
    for drive in (ToneDrive(wander=wander), ToneDrive(wave=wave)):
        assert not np.array_equal(tone_samples(drive, 200, 0.1, seed), tone_samples(drive, 200, 0.1, seed + 1))


@few
@given(st.floats(-2, 3), seeds)
def test_without_drivers_it_stays(level: float, seed: int) -> None:
    """Rest is rest."""
    np.testing.assert_array_equal(tone_samples(ToneDrive(level=level), 50, 0.1, seed), np.full(50, level))


@few
@given(st.floats(0.02, 0.2), st.floats(0.05, 2), seeds)
def test_waves_peak_at_their_frequency(frequency: float, amplitude: float, seed: int) -> None:
    """One line in the spectrum, at the frequency asked for (0.1 Hz by default), of the amplitude asked for."""
    seconds = 20.0 / frequency  # whole periods
    ticks = round(seconds / 0.1)
    samples = tone_samples(ToneDrive(wave=amplitude, wave_Hz=frequency), ticks, seconds / ticks, seed)
    spectrum = np.abs(np.fft.rfft(samples)) / (ticks / 2)
    assert int(np.argmax(spectrum)) == 20
    assert spectrum[20] == pytest.approx(amplitude, rel=1e-6)
    assert ToneDrive().wave_Hz == 0.1


def test_wander_has_its_spread_and_memory() -> None:
    """Ornstein–Uhlenbeck: the given SD, and correlation e^{−t/τ}, over 64 seeds of 30 time constants."""
    drive = ToneDrive(wander=0.5, wander_time_s=40.0)
    paths = np.array([tone_samples(drive, 1200, 1.0, seed) for seed in range(64)])
    assert paths.std() == pytest.approx(0.5, rel=0.05)
    assert abs(paths.mean()) < 0.06
    for lag in (10, 40, 80):
        product = np.mean(paths[:, lag:] * paths[:, :-lag]) / np.mean(paths**2)
        assert product == pytest.approx(math.exp(-lag / 40.0), abs=0.08)
    # no slow start: the first sample is as spread as any other
    assert paths[:, 0].std() == pytest.approx(0.5, rel=0.3)


@few
@given(drives, st.floats(0.1, 5))
def test_exposure_is_first_order(drive: ToneDrive, times: float) -> None:
    """1 − e^{−k} of the change k rise times after its onset, nothing before it."""
    lasting = drive._replace(end_s=0.0)
    at = np.array([drive.onset_s - 1.0, drive.onset_s, drive.onset_s + times * drive.rise_s])
    before, start, later = exposure(lasting, at)
    assert before == start == 0.0
    assert later == pytest.approx(drive.change * -math.expm1(-times), rel=1e-4, abs=1e-9)


@few
@given(drives, st.floats(0.1, 5), st.floats(0.1, 5))
def test_exposure_ends_first_order(drive: ToneDrive, lasts: float, times: float) -> None:
    """What was reached when it ended decays by e^{−k} in k fall times; no jump at the end."""
    brief = drive._replace(end_s=drive.onset_s + lasts * drive.rise_s)
    assume(brief.end_s > brief.onset_s)
    at = np.array([np.nextafter(brief.end_s, -np.inf), brief.end_s, brief.end_s + times * drive.fall_s])
    before, reached, later = exposure(brief, at)
    assert reached == pytest.approx(drive.change * -math.expm1(-lasts), rel=1e-3, abs=1e-9)
    assert before == pytest.approx(reached, rel=1e-3, abs=1e-9)
    assert later == pytest.approx(reached * math.exp(-times), rel=1e-3, abs=1e-9)


@few
@given(drives, seeds)
def test_drivers_add(drive: ToneDrive, seed: int) -> None:
    """Level and exposure are added to the random part, which they do not change."""
    whole = tone_samples(drive, 100, 0.5, seed)
    random = tone_samples(drive._replace(level=0.0, change=0.0), 100, 0.5, seed)
    steady = drive.level + exposure(drive, np.arange(100) * 0.5)
    np.testing.assert_allclose(whole, random + steady, rtol=1e-12, atol=1e-12)
