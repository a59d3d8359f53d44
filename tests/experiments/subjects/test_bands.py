"""How strong a pressure is at which frequency: nothing is lost, and a tone is where it is."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.subjects.bands import pressure_bands, usual_bands
from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import SyntheticPressure, synthesise


def trace(pressure, period_s=1e-3):
    return PressureTrace(pressure, period_s, np.ones(len(pressure), bool), "a", "a test")


@settings(max_examples=20)
@given(st.floats(1.0, 35.0), st.floats(0.1, 50.0))
def test_a_tone(frequency_Hz, amplitude_mmHg):
    """Its rms is amplitude over √2, and its power lies at its frequency."""
    time = np.arange(10_000) * 1e-3
    bands = pressure_bands(trace(90.0 + amplitude_mmHg * np.sin(2 * np.pi * frequency_Hz * time)))
    assert np.sqrt(np.sum(bands.rms_mmHg**2)) == pytest.approx(amplitude_mmHg / np.sqrt(2.0), rel=0.01)
    mean_Hz = np.sum(bands.omega * bands.rms_mmHg**2) / np.sum(bands.rms_mmHg**2) / (2 * np.pi)
    assert mean_Hz == pytest.approx(frequency_Hz, rel=0.005)


@pytest.mark.parametrize("period_s", [1e-3, 5e-4, 2e-3])
def test_the_whole_of_a_pulse(period_s):
    """Over half a minute the bands hold the variance of a pulse without slow waves (Parseval)."""
    pulse = synthesise(SyntheticPressure(respiration_mmHg=0.0, wave_mmHg=0.0), period_s, 30.0, 1)
    bands = pressure_bands(pulse)
    assert np.sqrt(np.sum(bands.rms_mmHg**2)) == pytest.approx(float(np.std(pulse.pressure_mmHg)), rel=0.03)


def test_the_usual_one():
    bands = usual_bands(1e-3)
    assert 10.0 < np.sqrt(np.sum(bands.rms_mmHg**2)) < 20.0
    twice = usual_bands(1e-3, SyntheticPressure(systolic_mmHg=165.0, diastolic_mmHg=75.0))
    assert np.sum(twice.rms_mmHg**2) == pytest.approx(4.0 * np.sum(bands.rms_mmHg**2), rel=0.05)


def test_no_pulse_at_all():
    bands = pressure_bands(trace(np.full(5000, 90.0)))
    assert np.sum(bands.rms_mmHg**2) < 1e-20
