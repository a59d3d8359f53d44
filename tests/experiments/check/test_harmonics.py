import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from experiments.check.harmonics import harmonic_transfer, usable_runs
from plant.pressure.synthetic import SyntheticPressure, synthesise

ALL = np.ones(40_001, bool)


def lagged(pressure, delay_ticks, time_constant_s):
    """A first-order lag and a delay, and their exact transfer at any frequency [Hz]."""
    keep = np.exp(-1e-3 / time_constant_s)
    answer = lfilter([1 - keep], [1, -keep], pressure - pressure[0]) + pressure[0]
    answer = np.concatenate([np.full(delay_ticks, pressure[0]), answer[: len(answer) - delay_ticks]])

    def transfer(frequency):
        z = np.exp(2j * np.pi * frequency * 1e-3)
        return (1 - keep) / (1 - keep / z) * z**-delay_ticks

    return answer, transfer


@given(
    st.floats(45, 180), st.integers(0, 20), st.floats(0.003, 0.03), st.floats(0, 1), st.floats(0, 0.3),
    st.floats(0.5, 2),
)
@settings(max_examples=15, deadline=None)
def test_a_known_filter_is_found_whatever_the_rhythm(rate, delay, constant, irregular, ectopic, gain):
    params = SyntheticPressure(rate_per_min=rate, irregular=irregular, ectopic_share=ectopic)
    pressure = synthesise(params, 1e-3, 40.0, 1).pressure_mmHg
    answer, transfer = lagged(pressure, delay, constant)
    found = harmonic_transfer(gain * answer, pressure, ALL, 1e-3, rate / 60)
    assert [h.number for h in found] == list(range(1, 11))
    for h in found[: 10 if rate < 120 else 6]:  # above 20 Hz the pulse has nothing left to measure with
        exact = gain * transfer(h.frequency_Hz)
        assert h.gain == pytest.approx(abs(exact), rel=0.01)
        assert (h.phase_deg - np.degrees(np.angle(exact)) + 180) % 360 - 180 == pytest.approx(0, abs=1.0)
        assert h.coherence > 0.97


def test_phase_is_unwrapped_along_the_harmonics():
    pressure = synthesise(SyntheticPressure(rate_per_min=120), 1e-3, 40.0, 1).pressure_mmHg
    found = harmonic_transfer(np.roll(pressure, 60), pressure, ALL, 1e-3, 2.0)
    assert found[-1].phase_deg == pytest.approx(-360 * 0.06 * found[-1].frequency_Hz, abs=5)  # −432°


def test_noise_in_the_output_lowers_coherence_not_gain():
    pressure = synthesise(SyntheticPressure(), 1e-3, 40.0, 1).pressure_mmHg
    noisy = pressure + 20 * np.random.default_rng(1).standard_normal(40_001)
    found = harmonic_transfer(noisy, pressure, ALL, 1e-3, 70 / 60)
    assert found[0].gain == pytest.approx(1.0, abs=0.03) and found[0].coherence > 0.95
    assert found[9].coherence < 0.9


def test_only_usable_stretches_take_part():
    pressure = synthesise(SyntheticPressure(), 1e-3, 40.0, 1).pressure_mmHg
    spoilt, usable = 0.8 * pressure, ALL.copy()
    spoilt[20_000:20_100], usable[20_000:20_100] = 1e6, False
    found = harmonic_transfer(spoilt, pressure, usable, 1e-3, 70 / 60)
    assert [h.gain for h in found] == pytest.approx([0.8] * 10, rel=1e-9)
    assert [h.phase_deg for h in found] == pytest.approx([0.0] * 10, abs=1e-9)


def test_too_little_to_tell():
    pressure = synthesise(SyntheticPressure(), 1e-3, 40.0, 1).pressure_mmHg
    assert harmonic_transfer(pressure, pressure, ALL, 1e-3, float("nan")) == ()
    assert harmonic_transfer(pressure, pressure, ~ALL, 1e-3, 1.0) == ()
    short = np.arange(40_001) % 2000 > 3  # never two seconds in a row
    assert harmonic_transfer(pressure, pressure, short, 1e-3, 1.0) == ()
    assert harmonic_transfer(pressure, np.full(40_001, 90.0), ALL, 1e-3, 1.0) == ()
    slow = pressure[::100]
    assert len(harmonic_transfer(slow, slow, ALL[::100], 0.1, 1.0)) == 4  # half the sampling rate is 5 Hz
    assert [h.coherence for h in harmonic_transfer(0 * pressure, pressure, ALL, 1e-3, 1.0)] == [0.0] * 10


def test_runs():
    assert usable_runs(np.array([1, 1, 0, 1, 0, 0, 1], bool)) == [(0, 2), (3, 4), (6, 7)]
    assert usable_runs(np.zeros(3, bool)) == [] and usable_runs(np.ones(3, bool)) == [(0, 3)]
