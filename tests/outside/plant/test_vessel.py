"""Vessel mechanics against published laws and numbers. Aorta data check the law; they say nothing about fingers.

Tags: [seen] read in the published text, [seen second-hand] quoted elsewhere, [memory, high/medium/low] not looked up,
[computed] mathematics. A value tagged medium or low is only a band, two times wide.
"""
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from plant.declare import declared
from plant.finger import artery as wall
from plant.finger.artery import Artery, law_at, present_area, static_area, static_compliance, wall_rate
from plant.linear import Linear, join, static
from plant.numerics.integrate import advance, weigh
from plant.units import PASCAL_PER_MMHG, BLOOD_DENSITY_kg_m3

DYNE_cm2_PER_MMHG = 1333.0  # as the aorta's regression paper rounds it
AORTA_DENSITY_g_cm3 = 1.05

arteries = st.builds(
    Artery, maximal_area=st.floats(0.05, 5), unloaded_mmHg=st.floats(-20, 60), half_width_mmHg=st.floats(2, 80),
    fast_fraction=st.floats(0.05, 0.95), creep_time_s=st.floats(0.05, 1000), tone_area=st.floats(0, 2),
    tone_shift_mmHg=st.floats(0, 30), tone_stiffening=st.floats(0, 1), tone_viscosity=st.floats(0, 2),
    collapse_ratio=st.just(1.0), exponential_linear=st.just(False),
)
few = settings(max_examples=40, deadline=None)


def aorta(sex: str, age: float) -> Artery:
    """Thoracic aorta by age and sex: area [cm²], pressures [mmHg]."""
    area, offset = (5.62, 76.0) if sex == "m" else (4.12, 72.0)
    return Artery(maximal_area=area, unloaded_mmHg=offset - 0.89 * age, half_width_mmHg=57.0 - 0.44 * age)


def pulse_wave_velocity(vessel: Artery, pressure: float) -> float:
    """Bramwell–Hill velocity [m/s] of an aorta with its area in cm²."""
    ratio = static_area(vessel, pressure, 0.0) / static_compliance(vessel, pressure, 0.0)
    return math.sqrt(DYNE_cm2_PER_MMHG * ratio / AORTA_DENSITY_g_cm3) / 100.0


def impedance(vessel: Artery, pressure: float) -> float:
    """Characteristic impedance [mmHg·s/mL] of an aorta with its area in cm²."""
    product = static_area(vessel, pressure, 0.0) * static_compliance(vessel, pressure, 0.0)
    return math.sqrt(AORTA_DENSITY_g_cm3 / (DYNE_cm2_PER_MMHG * product))


def forced_areas(vessel: Artery, mean: float, amplitude: float, frequency: float, beats: int) -> tuple[list, list]:
    """Pressures and areas of the last beat under a sinusoidal transmural pressure (Runge–Kutta on the wall)."""
    steps = 400
    period = 1.0 / frequency
    step = period / steps

    def target(time: float) -> float:
        return static_area(vessel, mean + amplitude * math.sin(2.0 * math.pi * frequency * time), 0.0)

    creep = static_area(vessel, mean, 0.0)
    pressures, areas = [], []
    for k in range(beats * steps):
        time = k * step
        if k >= (beats - 1) * steps:
            pressures.append(mean + amplitude * math.sin(2.0 * math.pi * frequency * time))
            areas.append(present_area(law_at(vessel, 0.0), creep, target(time)))
        one = wall_rate(vessel, creep, target(time))
        two = wall_rate(vessel, advance(creep, 0.5 * step, one), target(time + 0.5 * step))
        three = wall_rate(vessel, advance(creep, 0.5 * step, two), target(time + 0.5 * step))
        four = wall_rate(vessel, advance(creep, step, three), target(time + step))
        creep = advance(creep, step, weigh(one, two, three, four))
    return pressures, areas


# --- the arctangent law -----------------------------------------------------------------------------------------


@few
@given(arteries)
def test_compliance_peaks_at_p0_and_halves_at_p1(vessel: Artery) -> None:
    """Langewouters, Wesseling & Goedhard 1984 define P0 and P1 so: C(P0) = max, C(P0 ± P1) = Cm/2. [seen] (1.1)"""
    p0, p1 = vessel.unloaded_mmHg, vessel.half_width_mmHg
    peak = static_compliance(vessel, p0, 0.0)
    assert peak == pytest.approx(vessel.maximal_area / (math.pi * p1), rel=1e-12)
    grid = p0 + p1 * np.linspace(-6.0, 6.0, 121)
    values = [static_compliance(vessel, p, 0.0) for p in grid]
    assert grid[int(np.argmax(values))] == pytest.approx(p0, abs=1e-9)
    for side in (-1.0, 1.0):
        assert static_compliance(vessel, p0 + side * p1, 0.0) == pytest.approx(0.5 * peak, rel=1e-12)


@few
@given(arteries)
def test_area_shares_at_p0_and_p1(vessel: Artery) -> None:
    """A(P0) = Am/2 and A(P0 + P1) = 0.75 Am, A(P0 − P1) = 0.25 Am exactly: the arctangent law. [seen] (1.1)"""
    p0, p1 = vessel.unloaded_mmHg, vessel.half_width_mmHg
    for pressure, share in ((p0, 0.5), (p0 + p1, 0.75), (p0 - p1, 0.25)):
        assert static_area(vessel, pressure, 0.0) == pytest.approx(share * vessel.maximal_area, rel=1e-12)


@few
@given(arteries, st.floats(-100, 200), st.floats(-2, 3))
def test_compliance_is_the_slope_of_area(vessel: Artery, pressure: float, tone: float) -> None:
    """dA/dP by central difference equals C(P) = Am/(π P1)/(1 + ((P−P0)/P1)²) to 1e-6. [seen] (1.1, 1.2)"""
    step = 1e-4 * wall.half_width(vessel, tone)
    rise = static_area(vessel, pressure + step, tone) - static_area(vessel, pressure - step, tone)
    at_most = wall.largest_area(vessel, tone) / (math.pi * wall.half_width(vessel, tone))
    slope = static_compliance(vessel, pressure, tone)
    assert rise / (2.0 * step) == pytest.approx(slope, rel=1e-6, abs=1e-8 * at_most)


# --- the aorta's golden table -----------------------------------------------------------------------------------

GOLDEN_AREAS = [("m", 40, 4.5751), ("m", 25, 4.2198), ("f", 40, 3.3926)]
GOLDEN_VELOCITIES = [("m", 40, 6.49), ("m", 25, 5.26), ("m", 60, 8.92)]


@pytest.mark.parametrize(("sex", "age", "area"), GOLDEN_AREAS)
def test_aortic_area_at_100_mmHg(sex: str, age: float, area: float) -> None:
    """A(100 mmHg) [cm²] from the age regressions of Wesseling, Jansen, Settels & Schreuder 1993. [computed] (1.3)"""
    assert static_area(aorta(sex, age), 100.0, 0.0) == pytest.approx(area, abs=6e-5)


@pytest.mark.parametrize(("sex", "age", "velocity"), GOLDEN_VELOCITIES)
def test_aortic_pulse_wave_velocity(sex: str, age: float, velocity: float) -> None:
    """PWV = √(A/(ρ dA/dP)) (Bramwell & Hill 1922) at 100 mmHg. [computed; formula memory, high] (1.3, 1.8)"""
    assert pulse_wave_velocity(aorta(sex, age), 100.0) == pytest.approx(velocity, abs=0.006)


def test_aorta_of_a_man_of_forty() -> None:
    """P0 40.40, P1 39.40, Cmax 0.04540, C(100) 0.01381 cm²/mmHg, Zc 0.1117 mmHg·s/mL. [computed] (1.2, 1.3)"""
    vessel = aorta("m", 40)
    assert wall.unloaded_pressure(vessel, 0.0) == pytest.approx(40.40, abs=1e-9)
    assert wall.half_width(vessel, 0.0) == pytest.approx(39.40, abs=1e-9)
    assert static_compliance(vessel, 40.40, 0.0) == pytest.approx(0.04540, abs=6e-6)
    assert static_compliance(vessel, 100.0, 0.0) == pytest.approx(0.01381, abs=6e-6)
    assert impedance(vessel, 100.0) == pytest.approx(0.1117, abs=6e-5)


@pytest.mark.parametrize("age", [40, 50, 60, 70, 88])
def test_aortas_lie_in_the_measured_ranges(age: float) -> None:
    """45 thoracic aortas at 100 mmHg: 2.6–7.6 cm², 1.9–17 mm³/(mmHg·cm). Langewouters et al. 1984. [seen] (1.1, 1.3)

    From age 40 on; the regression of the other paper passes the measured 17 by 3 % for a man of 30.
    """
    for sex in "mf":
        vessel = aorta(sex, age)
        assert 2.6 <= static_area(vessel, 100.0, 0.0) <= 7.6
        # 1 cm²/mmHg is 1 cm³ per cm length and mmHg, 1000 mm³/(mmHg·cm)
        assert 1.9 <= 1000.0 * static_compliance(vessel, 100.0, 0.0) <= 17.0


@few
@given(arteries, st.floats(-200, 300))
def test_wave_speed_is_real_everywhere(vessel: Artery, pressure: float) -> None:
    """c² = (A/ρ) dP/dA > 0 at every pressure: no choking tube law. Shapiro 1977 [memory, high form] (1.7)"""
    step = 1e-3 * vessel.half_width_mmHg
    rise = static_area(vessel, pressure + step, 0.0) - static_area(vessel, pressure - step, 0.0)
    assert rise > 0.0
    squared = static_area(vessel, pressure, 0.0) / BLOOD_DENSITY_kg_m3 * 2.0 * step * PASCAL_PER_MMHG / rise
    assert 0.0 < squared < math.inf


# --- finger arteries --------------------------------------------------------------------------------------------


def test_defaults_say_that_they_are_invented() -> None:
    """No trusted golden value for finger arteries in vivo was found, so none may be claimed. (1.16)"""
    sources = {p.name: p.source for p in declared(Artery)}
    for name in ("unloaded_mmHg", "tone_area", "tone_shift_mmHg", "tone_stiffening"):
        assert sources[name].startswith("invented")
    assert sources["half_width_mmHg"].startswith("none published for fingers")


def test_compliance_peaks_at_low_positive_transmural_pressure() -> None:
    """Finger arteries in vitro: steepest in the collapse region near zero transmural pressure.

    Langewouters, Zwart, Busse & Wesseling 1986, abstract: no number given, "near" is taken as 0–20 mmHg. [seen] (1.4)
    """
    grid = np.linspace(-100.0, 150.0, 2501)
    peak = grid[int(np.argmax([static_compliance(Artery(), p, 0.0) for p in grid]))]
    assert 0.0 < peak < 20.0


@pytest.mark.parametrize("amplitude", [20.0, 35.0, 50.0])
def test_pulsation_at_1_Hz_is_smaller_than_quasi_static(amplitude: float) -> None:
    """1 Hz oscillation of 20–50 mmHg moves the diameter substantially less than slow loading: finger arteries in vitro,
    Langewouters et al. 1986; "substantially" is taken as at least a fifth. [seen] (1.4)
    """
    vessel = Artery()
    _, areas = forced_areas(vessel, 10.0, amplitude, 1.0, 8)
    quick = math.sqrt(max(areas)) - math.sqrt(min(areas))
    slow = math.sqrt(static_area(vessel, 10.0 + amplitude, 0.0)) - math.sqrt(static_area(vessel, 10.0 - amplitude, 0.0))
    assert 0.2 * slow < quick < 0.8 * slow


@few
@given(arteries, st.floats(-50, 150), st.floats(0.05, 50))
def test_dynamic_compliance_is_between_immediate_and_static(vessel: Artery, pressure: float, frequency: float) -> None:
    """A standard linear solid is stiffer than at rest, never stiffer than its fast branch. [computed] (1.4, 1.13)"""
    twin = wall.linear_twin(vessel, pressure, 0.0)
    gain = abs(twin.response("area", "transmural_pressure", np.array([2.0 * math.pi * frequency]))[0])
    at_rest = static_compliance(vessel, pressure, 0.0)
    assert vessel.fast_fraction * at_rest * (1.0 - 1e-9) <= gain < at_rest * (1.0 + 1e-12)


def test_constriction_nearly_closes_the_lumen() -> None:
    """Noradrenaline or spontaneous tone closes finger arteries fully in vitro. Langewouters et al. 1986. [seen] (1.4)

    The law only nears closure: a tenth of the resting area at tone 3, a hundredth at 6, the most a rig can ask.
    """
    areas = [static_area(Artery(), 93.0, tone) for tone in np.linspace(0.0, 6.0, 25)]
    assert all(later < earlier for earlier, later in pairwise(areas))
    assert static_area(Artery(), 93.0, 3.0) < 0.12 * areas[0]
    assert 0.0 < areas[-1] < 0.01 * areas[0]


def test_volume_elastic_modulus_is_near_exponential() -> None:
    """Ev = Ev0 e^{α Ptr} in vivo (finger, radial; DOI 10.1007/s11517-021-02391-1, 2021): ln(V dP/dV) near linear over
    0–80 mmHg, R² > 0.9. [seen] (1.5)

    The arctangent law is not exponential: R² is 0.973, it bends away from its own best line by at most 0.41 (a factor
    1.5, at 0 mmHg) and 0.21 rms.
    """
    vessel = Artery()
    pressure = np.linspace(0.0, 80.0, 81)
    modulus = np.array([static_area(vessel, p, 0.0) / static_compliance(vessel, p, 0.0) for p in pressure])
    slope, start = np.polyfit(pressure, np.log(modulus), 1)
    misfit = np.log(modulus) - (slope * pressure + start)
    assert slope > 0.0
    assert 1.0 - misfit.var() / np.log(modulus).var() > 0.9
    assert 0.1 < np.max(np.abs(misfit)) < 0.5


@few
@given(arteries, st.floats(-2, 3))
def test_area_is_monotone_and_never_negative_in_collapse(vessel: Artery, tone: float) -> None:
    """Full-range law: A rises with P, and A → 0 from above down to −200 mmHg (form as Drzewiecki, Field, Moubarak & Li
    1997, Am J Physiol 273:H2030). [seen] (1.6)
    """
    areas = np.array([static_area(vessel, p, tone) for p in np.linspace(-200.0, 200.0, 81)])
    assert np.all(np.diff(areas) > 0.0)
    assert areas[0] > 0.0
    assert areas[-1] < wall.largest_area(vessel, tone)


def test_area_drains_in_collapse() -> None:
    """The default finger artery is nearly empty under strong compression, most compliant near buckling. [seen] (1.6)"""
    vessel = Artery()
    assert static_area(vessel, -200.0, 0.0) < 0.03 * static_area(vessel, 93.0, 0.0)
    assert static_compliance(vessel, 0.0, 0.0) > 10.0 * static_compliance(vessel, 93.0, 0.0)


def test_unclamped_pulse_wave_velocity_is_plausible() -> None:
    """Muscular arm arteries 7–12 m/s [memory, medium], so a band two times wide, 3.5–24 m/s, for the default. (1.12)

    Not met: the arm's distensibility of at least 0.1 %/mmHg (Liu et al. 2013); this finger artery has 0.054 at 100.
    """
    ratio = static_area(Artery(), 100.0, 0.0) / static_compliance(Artery(), 100.0, 0.0)
    assert 3.5 < math.sqrt(PASCAL_PER_MMHG * ratio / BLOOD_DENSITY_kg_m3) < 24.0


# --- the wall's creep -------------------------------------------------------------------------------------------


@few
@given(arteries, st.floats(-50, 100), st.floats(1, 60))
def test_creep_after_a_step_is_the_closed_form(vessel: Artery, pressure: float, rise: float) -> None:
    """Creep of a standard linear solid: strain = σ (1/E∞ − (1/E∞ − 1/E0) e^{−t/τ}). Textbook. [computed] (1.13)

    Here 1/E∞ is the static rise of area and 1/E0 its immediate share, for a step of any size.
    """
    before, after = static_area(vessel, pressure, 0.0), static_area(vessel, pressure + rise, 0.0)
    at_last, at_once = after - before, vessel.fast_fraction * (after - before)
    creep, step = before, vessel.creep_time_s / 50.0
    assert present_area(law_at(vessel, 0.0), creep, after) - before == pytest.approx(at_once, rel=1e-9, abs=1e-14)
    for k in range(1, 151):
        one = wall_rate(vessel, creep, after)
        two = wall_rate(vessel, advance(creep, 0.5 * step, one), after)
        three = wall_rate(vessel, advance(creep, 0.5 * step, two), after)
        four = wall_rate(vessel, advance(creep, step, three), after)
        creep = advance(creep, step, weigh(one, two, three, four))
        expected = at_last - (at_last - at_once) * math.exp(-k / 50.0)
        assert present_area(law_at(vessel, 0.0), creep, after) - before == pytest.approx(expected, rel=1e-7, abs=1e-13)


@few
@given(arteries, st.floats(-50, 150))
def test_wall_dissipates_at_every_frequency(vessel: Artery, pressure: float) -> None:
    """Work ∮P dA of a cycle is positive, with the same sign at every frequency: a passive wall. [computed] (1.13)

    For a harmonic it is −π |P|² Im(dA/dP); a standard linear solid loses most per cycle at ω = 1/τ.
    """
    twin = wall.linear_twin(vessel, pressure, 0.0)
    omega = np.geomspace(1e-3, 1e3, 61) / vessel.creep_time_s
    loss = -twin.response("area", "transmural_pressure", omega).imag
    assert np.all(loss > 0.0)
    assert int(np.argmax(loss)) == 30
    expected = 0.5 * (1.0 - vessel.fast_fraction) * static_compliance(vessel, pressure, 0.0)
    assert loss[30] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("frequency", [0.05, 0.3, 1.0, 3.0])
def test_pressure_area_loop_turns_one_way(frequency: float) -> None:
    """Large-amplitude loop area ∮P dA > 0 at every frequency (area lags pressure). [computed] (1.13)"""
    pressures, areas = forced_areas(Artery(), 20.0, 20.0, frequency, 6)
    closed = [*areas, areas[0]]
    work = sum(
        0.5 * (pressures[k] + pressures[(k + 1) % len(pressures)]) * (closed[k + 1] - closed[k])
        for k in range(len(pressures))
    )
    assert work > 0.0


# --- vascular unloading -----------------------------------------------------------------------------------------


def clamped_pressure(vessel: Artery, arterial: float, gain: float, centre: float) -> float:
    """External pressure of a proportional servo on area about the half-area point; `gain` is its loop gain."""
    per_area = gain / static_compliance(vessel, vessel.unloaded_mmHg, 0.0)
    half = 0.5 * vessel.maximal_area
    return brentq(
        lambda p: p - centre - per_area * (static_area(vessel, arterial - p, 0.0) - half), -500.0, 700.0, xtol=1e-12
    )


@pytest.mark.parametrize("gain", [1.0, 5.0, 20.0, 100.0])
def test_servo_error_at_rest_is_one_over_one_plus_gain(gain: float) -> None:
    """Vascular unloading with loop gain K: static tracking error 1/(1+K). Peñáz 1973 [memory, high] (1.15)"""
    vessel, small = Artery(), 1e-3
    centre = 93.0 - vessel.unloaded_mmHg
    rise = clamped_pressure(vessel, 93.0 + small, gain, centre) - clamped_pressure(vessel, 93.0 - small, gain, centre)
    assert 1.0 - rise / (2.0 * small) == pytest.approx(1.0 / (1.0 + gain), rel=1e-6)


def test_perfect_servo_reads_arterial_pressure_less_p0() -> None:
    """Gain → ∞: cuff minus arterial pressure becomes constant, minus the set point's transmural pressure. (1.15)"""
    vessel = Artery()
    centre = 93.0 - vessel.unloaded_mmHg
    for arterial in np.linspace(40.0, 200.0, 33):
        cuff = clamped_pressure(vessel, arterial, 1e9, centre)
        assert cuff - arterial == pytest.approx(-vessel.unloaded_mmHg, abs=1e-5)


@few
@given(arteries, st.floats(0.5, 200))
def test_servo_error_through_the_joined_twin(vessel: Artery, gain: float) -> None:
    """Tracking K/(1+K) at DC, φK/(1+φK) far above the creep: the joined linear twin of wall and ideal servo. (1.15)"""
    part = wall.linear_twin(vessel, vessel.unloaded_mmHg, 0.0)
    servo: Linear = static([[gain / static_compliance(vessel, vessel.unloaded_mmHg, 0.0)]], "area", "external_pressure")
    rigid = static([[1.0, -1.0]], "arterial_pressure external_pressure", "transmural_pressure")  # no axial flow
    loop = join([rigid, part, servo], ("arterial_pressure",), ("external_pressure",))
    omega = np.array([1e-9, 1e9]) / vessel.creep_time_s
    slow, quick = loop.response("external_pressure", "arterial_pressure", omega)
    assert abs(1.0 - slow) == pytest.approx(1.0 / (1.0 + gain), rel=1e-6)
    assert abs(1.0 - quick) == pytest.approx(1.0 / (1.0 + vessel.fast_fraction * gain), rel=1e-6)
