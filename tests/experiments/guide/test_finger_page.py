"""The figures of the page on the finger under the cuff follow from its own closed forms."""
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.special import jv

from experiments.guide.build import PAGES

PAGE = (Path(PAGES) / "why" / "finger.md").read_text(encoding="utf-8")
DENSITY_kg_m3, VISCOSITY_Pa_s, PASCAL = 1055.0, 3.5e-3, 133.322
OUTER_AREA = 0.95  # of the artery outside the cuff, share of the largest


def segment_lag_deg(length_mm, half_width_mmHg, frequency_Hz):
    """Womersley's line between two ends of the stiffer artery outside, at the peak of the arctangent law."""
    omega, area = 2.0 * np.pi * frequency_Hz, np.pi / 4.0 * 1.2e-3**2
    inside, half, window = 0.5 * area, 0.5e-3 * length_mm, 2e-3
    order = np.sqrt(inside / np.pi) * np.sqrt(omega * DENSITY_kg_m3 / VISCOSITY_Pa_s) * 1j**1.5
    bessel = 2.0 * jv(1, order) / (order * jv(0, order))
    series = 1j * omega * DENSITY_kg_m3 / (inside * (1.0 - bessel))
    shunt = 1j * omega * 0.7 * area / (np.pi * half_width_mmHg * PASCAL)
    gamma, impedance = np.sqrt(series * shunt), np.sqrt(series / shunt)
    outer = DENSITY_kg_m3 * 8.0 / (OUTER_AREA * area)
    seen = np.sinh(gamma * window) / (gamma * window)
    return -np.degrees(np.angle(seen / (np.cosh(gamma * half) + outer / impedance * np.sinh(gamma * half))))


def slot_exponent(gap_mm, frequency_Hz):
    """Exponent of air in a slot between isothermal walls, complex: its angle is the lead."""
    z = np.sqrt(2j * np.pi * frequency_Hz * (0.5 * gap_mm) ** 2 / 21.2)
    return 1.4 / (1.0 + 0.4 * np.tanh(z) / z)


def numbers(text):
    return [float(word) for word in re.findall(r"\d+(?:\.\d+)?", text)]


@pytest.mark.parametrize("length_mm", [7, 10, 14, 20])
def test_lag_of_the_segment(length_mm):
    row = next(line for line in PAGE.splitlines() if line.startswith(f"| {length_mm} mm | ") and "°" not in line)
    said = np.array(numbers(row)[1:]).reshape(3, 2)
    found = [[segment_lag_deg(length_mm, p1, f) for f in (17.0, 36.0)] for p1 in (8.0, 15.0, 25.0)]
    np.testing.assert_allclose(found, said, atol=0.6)


@pytest.mark.parametrize("gap_mm", [1, 2, 3])
def test_exponent_of_the_slot(gap_mm):
    row = next(line for line in PAGE.splitlines() if line.startswith(f"| {gap_mm} mm | ") and "°" in line)
    _, _, n10, lead10, n36, lead36 = numbers(row)
    for frequency, exponent, lead in ((10.0, n10, lead10), (36.0, n36, lead36)):
        found = slot_exponent(gap_mm, frequency)
        assert abs(found) == pytest.approx(exponent, abs=0.006)
        assert np.degrees(np.angle(found)) == pytest.approx(lead, abs=0.06)


def test_wave_speed_at_the_peak():
    assert "1.72 m/s" in PAGE
    assert np.sqrt(np.pi * 15.0 * PASCAL / (2.0 * DENSITY_kg_m3)) == pytest.approx(1.72, abs=0.006)
