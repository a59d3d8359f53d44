"""Blood along the artery under the cuff: wave speed, the exact viscous line, the published transit under a cuff.

Tags: [seen] read in the published text, [seen abstract] only its abstract, [memory, high/medium/low] not looked up,
[computed] mathematics. The line's own measurement on a finger, phase at 10–40 Hz, is not published to our knowledge:
these checks hold the model to its equations and to an arm, not to a finger.
"""
import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import jv

from plant.finger.artery import Artery, law_at, relative_area, relative_compliance
from plant.finger.segment import OUTER_AREA, Segment, VISCOSITY_Pa_s, linear_twin, segment_line
from plant.units import PASCAL_PER_MMHG, BLOOD_DENSITY_kg_m3

Numbers = NDArray[np.complex128]


def fast_fraction(share: float, width: float) -> Artery:
    """An artery at no tone with this immediate share and width."""
    return Artery(fast_fraction=share, half_width_mmHg=width)


def wave_speed(artery: Artery) -> float:
    """Bramwell–Hill speed [m/s] at peak compliance with the static compliance."""
    law = law_at(artery, 0.0)
    ratio = relative_area(law, law.unloaded_mmHg) / relative_compliance(law, law.unloaded_mmHg)
    return math.sqrt(PASCAL_PER_MMHG * ratio / BLOOD_DENSITY_kg_m3)


def womersley(segment: Segment, artery: Artery, hertz: NDArray[np.float64]) -> Numbers:
    """ū/e = (sinh γw/γw)/(cosh γh + (Z_e/Z_c) sinh γh), F10 = 2J1(αj^{3/2})/(αj^{3/2} J0), α on the radius at the peak.

    Womersley 1955; two-port algebra [computed].
    """
    law = law_at(artery, 0.0)
    at_peak = relative_area(law, law.unloaded_mmHg)
    largest = 0.25e-6 * math.pi * segment.diameter_mm**2
    area = at_peak * largest
    pliant = law.fast * relative_compliance(law, law.unloaded_mmHg) * largest / PASCAL_PER_MMHG
    omega = 2.0 * np.pi * hertz
    z = np.sqrt(area / math.pi) * np.sqrt(omega * BLOOD_DENSITY_kg_m3 / VISCOSITY_Pa_s) * np.exp(0.75j * np.pi)
    f10 = 2.0 * jv(1, z) / (z * jv(0, z))
    series, shunt = 1j * omega * BLOOD_DENSITY_kg_m3 / (area * (1.0 - f10)), 1j * omega * pliant
    gamma, own = np.sqrt(series * shunt), np.sqrt(series / shunt)
    outside = BLOOD_DENSITY_kg_m3 * segment.outer_speed_m_s / (OUTER_AREA * largest)
    w, h = 1e-3 * segment.window_mm, 0.5e-3 * segment.length_mm
    return np.asarray(np.sinh(gamma * w) / (gamma * w) / (np.cosh(gamma * h) + outside / own * np.sinh(gamma * h)))


def reduced(segment: Segment, artery: Artery, hertz: NDArray[np.float64]) -> Numbers:
    """The same of the model's twin."""
    twin = linear_twin(segment, artery, artery.unloaded_mmHg, 0.0)
    return twin.response("transmural_pressure", "arterial_pressure", 2.0 * np.pi * hertz)


@pytest.mark.parametrize(("width", "speed"), [(8.0, 1.26), (15.0, 1.725), (25.0, 2.23)])
def test_wave_speed_at_the_peak_needs_no_radius(width: float, speed: float) -> None:
    """c² = A/(ρ dA/dp) (Bramwell & Hill 1922 [memory, high]) is π p1/(2ρ) at the arctangent's peak. [computed]"""
    closed = math.sqrt(0.5 * math.pi * width * PASCAL_PER_MMHG / BLOOD_DENSITY_kg_m3)
    for largest in (0.3, 1.0, 2.0):
        assert wave_speed(Artery(half_width_mmHg=width, maximal_area=largest)) == pytest.approx(closed, rel=1e-9)
    assert closed == pytest.approx(speed, abs=0.006)


def test_slow_flow_is_poiseuille_s_and_carries_a_third_more_mass() -> None:
    """Z' → 8πμ/A² + jω (4/3) ρ/A as α → 0 (Womersley 1955 [memory, high]); in a half open 1.2 mm R is 1.11 and
    M 1.304 times those of Poiseuille and plug at 36 Hz: what the model's 1.06 and 4/3 stand for. [computed]
    """
    area = 0.5 * 0.25e-6 * math.pi * 1.2**2
    for hertz, resistance, inertance in ((1e-3, 1.0, 4.0 / 3.0), (17.0, 1.028, 1.326), (36.0, 1.111, 1.304)):
        omega = 2.0 * math.pi * hertz
        z = math.sqrt(area / math.pi) * math.sqrt(omega * BLOOD_DENSITY_kg_m3 / VISCOSITY_Pa_s) * np.exp(0.75j * np.pi)
        series = 1j * omega * BLOOD_DENSITY_kg_m3 / (area * (1.0 - 2.0 * jv(1, z) / (z * jv(0, z))))
        assert series.real / (8.0 * math.pi * VISCOSITY_Pa_s / area**2) == pytest.approx(resistance, abs=2e-3)
        assert series.imag / (omega * BLOOD_DENSITY_kg_m3 / area) == pytest.approx(inertance, abs=2e-3)


# worst phase [degrees] to 20 and to 40 Hz; φ 0.7
WORST = {(10.0, 8.0): (0.3, 1.0), (10.0, 15.0): (0.3, 0.6), (10.0, 25.0): (0.3, 0.6), (14.0, 15.0): (0.4, 1.5),
         (20.0, 15.0): (1.0, 5.0)}


@pytest.mark.parametrize(("length", "width"), WORST)
def test_three_states_are_the_viscous_line(length: float, width: float) -> None:
    """Phase to within WORST, gain to 0.2 dB at 10 mm, against Womersley's line between the same ends. [computed]"""
    segment, artery = Segment(length_mm=length), fast_fraction(0.7, width)
    for top, worst in zip((20.0, 40.0), WORST[length, width], strict=True):
        hertz = np.linspace(0.5, top, 80)
        apart = reduced(segment, artery, hertz) / womersley(segment, artery, hertz)
        assert np.max(np.abs(np.degrees(np.angle(apart)))) < worst
        if length == 10.0:
            assert np.max(np.abs(20.0 * np.log10(np.abs(apart)))) < 0.2


# lag [degrees] at 17 and 36 Hz of the exact line: length mm, φ, p1
TABLE = {(7.0, 0.7, 8.0): (37, 62), (7.0, 0.7, 15.0): (22, 42), (10.0, 0.7, 15.0): (31, 56),
         (10.0, 0.3, 15.0): (14, 29),
         (14.0, 0.7, 15.0): (42, 71), (20.0, 0.7, 15.0): (57, 90), (10.0, 0.1, 15.0): (5, 10)}


@pytest.mark.parametrize(("length", "share", "width"), TABLE)
def test_lag_of_the_closed_form(length: float, share: float, width: float) -> None:
    """The closed form's own table, evaluated apart from this code: a lag that no controller sees past. [computed]"""
    found = womersley(Segment(length_mm=length), fast_fraction(share, width), np.array([17.0, 36.0]))
    assert -np.degrees(np.angle(found)) == pytest.approx(TABLE[length, share, width], abs=1.0)


def test_radius_matters_little_and_the_outer_artery_much() -> None:
    """0.8 to 1.6 mm moves the lag at 17 Hz by less than 4°, 6 to 10 m/s outside by about 10°. [computed]"""
    hertz, artery = np.array([17.0]), fast_fraction(0.7, 15.0)

    def lag(**changed: float) -> float:
        return float(-np.degrees(np.angle(womersley(Segment(length_mm=10.0)._replace(**changed), artery, hertz)[0])))

    assert abs(lag(diameter_mm=0.8) - lag(diameter_mm=1.6)) < 4.0
    assert 8.0 < lag(outer_speed_m_s=10.0) - lag(outer_speed_m_s=6.0) < 14.0


def test_transit_under_a_cuff_at_diastolic_pressure() -> None:
    """An upper-arm cuff at diastolic pressure delays the pulse by 42 ± 19 ms (Nitzan, Rosenfeld, Weiss, Grossman,
    Patron & Murray 2005, IEEE Trans Biomed Eng 52:1120 [seen abstract]); 13 cm of cuff, 8 m/s outside [memory, medium].
    """
    speed = wave_speed(Artery(half_width_mmHg=15.0)) / math.sqrt(0.7)
    delay_ms = 1e3 * (0.13 / speed - 0.13 / 8.0)
    assert 42.0 - 19.0 < delay_ms < 42.0 + 19.0


def test_vibration_of_a_finger_cuff_is_answered_in_second_order() -> None:
    """Light answers 20–40 Hz vibrations of a finger cuff as mass, loss and elastance (Moudr, Svačinová, Závodná &
    Honzíková 2014, Physiol Res [seen abstract, no numbers]): the answer is there, falls with frequency, has inertia.
    """
    hertz = np.array([20.0, 25.0, 30.0, 35.0, 40.0])
    for length in (8.0, 11.0):
        gain = np.abs(reduced(Segment(length_mm=length), Artery(), hertz))
        assert np.all(np.diff(gain) < 0.0) and 0.3 < gain[-1] < gain[0] < 1.0
    line = segment_line(Segment(), Artery(), 0.0)
    massless = line.per_inertance * 1e6
    assert 0.0 < line.per_inertance < massless
