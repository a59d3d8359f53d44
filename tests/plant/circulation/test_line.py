import numpy as np
import pytest

from plant.circulation.line import (
    DENSITY_kg_m3,
    Lines,
    VISCOSITY_Pa_s,
    characteristic_Pa_s_m3,
    compliance_m3_Pa,
    series_impedance,
    speed_m_s,
    stiffness_Pa,
    two_port,
    wall_kg_s,
)

ONE = np.ones(1)


def line(radius=0.003, length=0.3, large=1e5, wall=None):
    r = radius * ONE
    return Lines(length * ONE, r, stiffness_Pa(r, large), wall_kg_s(r) if wall is None else wall * ONE)


def test_without_flow_change_it_is_poiseuille() -> None:
    z = series_impedance(0.002 * ONE, np.array([0.0, 1e-4]))[0]
    assert z[0] == pytest.approx(8 * VISCOSITY_Pa_s / (np.pi * 0.002**4))
    assert z[1].real == pytest.approx(z[0].real, rel=1e-3)


def test_a_wide_artery_has_the_inertia_of_its_blood() -> None:
    z = series_impedance(0.02 * ONE, np.array([20.0]))[0, 0]
    assert z.imag == pytest.approx(2 * np.pi * 20 * DENSITY_kg_m3 / (np.pi * 0.02**2), rel=0.03)


def test_steady_flow_passes_through() -> None:
    port = two_port(line(), np.zeros(1))
    assert port.own[0, 0] == -port.across[0, 0]
    assert 1 / port.own[0, 0].real == pytest.approx(0.3 * 8 * VISCOSITY_Pa_s / (np.pi * 0.003**4))


def test_slow_changes_see_its_compliance() -> None:
    one, f = line(wall=0.0), 1e-3
    port = two_port(one, np.array([f]))
    stored = 2 * (port.own + port.across)[0, 0]  # both ends raised together: what flows in stays
    assert stored.imag / (2 * np.pi * f) == pytest.approx(compliance_m3_Pa(one)[0], rel=1e-4)


def test_a_long_line_shows_its_characteristic_impedance() -> None:
    one = line(0.008, 30.0, 1e5, 0.0)
    own = two_port(one, np.array([25.0])).own[0, 0]
    assert 1 / own.real == pytest.approx(characteristic_Pa_s_m3(one)[0], rel=0.05)


def test_a_pulse_takes_its_time() -> None:
    one, f = line(0.008, 0.4, 1e5, 0.0), np.array([8.0])
    port = two_port(one, f)
    matched = 1 / characteristic_Pa_s_m3(one)[0]
    gain = -port.across / (port.own + matched)  # far end by near end, ending in its own Z_c
    assert -np.angle(gain[0, 0]) / (2 * np.pi * 8.0) == pytest.approx(0.4 / speed_m_s(one.stiffness_Pa)[0], rel=0.08)
    assert 0.7 < abs(gain[0, 0]) < 1.0


def test_halves_make_a_whole() -> None:
    f = np.array([0.0, 1.0, 12.0])
    whole, half = two_port(line(), f), two_port(line(length=0.15), f)
    middle = 2 * half.own
    assert half.own - half.across**2 / middle == pytest.approx(whole.own, rel=1e-10)
    assert -half.across**2 / middle == pytest.approx(whole.across, rel=1e-10)
