"""Heat of the cuff's air against the exact slot between two walls and the ideal gas's two limits.

Tags: [memory, high/medium/low] not looked up, [computed] mathematics. No measurement on a finger's bladder is known
to us.
"""
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from plant.pneumatics.air import Air, expansion
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.cuff import linear_twin as cuff_twin


def slot_exponent(gap_mm: float, hertz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """1/n = (1 + (γ − 1) tanh(z)/z)/γ, z² = jω (gap/2)²/D, D = 21.2 mm²/s: air between two walls of constant warmth.

    Daniels 1947; form and D from memory, the form also derived from the heat equation. [memory, high]
    """
    z = np.sqrt(2j * np.pi * hertz * (0.5 * gap_mm) ** 2 / 21.2)
    return np.asarray(1.4 / (1.0 + 0.4 * np.tanh(z) / z))


def cuff_exponent(gap_mm: float, hertz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """n(ω) of the model's rigid bladder, from its twin."""
    cuff, air = Cuff(growth_mL=0.0, leak_mL_s_mmHg=0.0, gap_mm=gap_mm), Air()
    omega = 2.0 * np.pi * hertz
    seen = cuff_twin(cuff, air, 80.0, 0.0).response("cuff_pressure", "line_flow", omega)
    return np.asarray(seen * 1j * omega * cuff.volume_mL / expansion(air))


@pytest.mark.parametrize("gap_mm", [1.0, 1.5, 2.0, 3.0])
def test_air_in_a_gap_against_the_exact_slot(gap_mm: float) -> None:
    """One state of heat within 5 % in size and 3.5° in phase of the slot, 1–60 Hz; n leads, so that it helps a loop."""
    hertz = np.geomspace(1.0, 60.0, 40)
    apart = cuff_exponent(gap_mm, hertz) / slot_exponent(gap_mm, hertz)
    assert np.max(np.abs(np.abs(apart) - 1.0)) < 0.055
    assert np.max(np.abs(np.degrees(np.angle(apart)))) < 3.5
    assert np.all(np.angle(cuff_exponent(gap_mm, hertz)) > 0.0)


@pytest.mark.parametrize("gap_mm", [0.5, 2.0, 10.0])
def test_air_in_a_gap_is_isothermal_at_rest_and_adiabatic_at_speed(gap_mm: float) -> None:
    """n → 1 and 1.4, the ideal gas's two limits; the most lead asin((γ−1)/(γ+1)) = 9.6°. [computed]"""
    slow, fast = cuff_exponent(gap_mm, np.array([1e-4, 1e6]))
    assert abs(slow) == pytest.approx(1.0, abs=1e-3) and abs(fast) == pytest.approx(1.4, abs=1e-3)
    lead = np.degrees(np.angle(cuff_exponent(gap_mm, np.geomspace(1e-2, 1e4, 2000))))
    assert np.max(lead) == pytest.approx(math.degrees(math.asin(0.4 / 2.4)), abs=0.01)
