"""Frequency responses of zeros, poles and gain, and the verb that finds the response of any part."""
import cmath
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numba import njit

from controller.response import Unity, Zpk, response, sweep

few = settings(max_examples=40, deadline=None)
roots = st.lists(st.complex_numbers(max_magnitude=5.0), max_size=3)
damped = st.lists(st.builds(complex, st.floats(-5, -0.01), st.floats(-5, 5)), max_size=3)
omegas = st.floats(0.01, 300.0)


def part(zeros: list[complex], poles: list[complex], gain: float, period_s: float = 0.0, delay_s: float = 0.0) -> Zpk:
    return Zpk(np.array(zeros, complex), np.array(poles, complex), gain, period_s, delay_s)


def paired(found: list[complex]) -> list[complex]:
    """Roots of a polynomial with real coefficients."""
    return [*found, *(root.conjugate() for root in found)]


@few
@given(zeros=roots, poles=roots, gain=st.floats(-5, 5), omega=omegas, period_s=st.sampled_from([0.0, 0.001, 0.01]))
def test_it_is_the_ratio_of_the_two_polynomials(
    zeros: list[complex], poles: list[complex], gain: float, omega: float, period_s: float
) -> None:
    """At s = jω, or at z = exp(jωT): numpy's own polynomials say the same."""
    point = cmath.exp(1j * omega * period_s) if period_s else 1j * omega
    assume(all(abs(point - pole) > 0.1 for pole in poles))  # on a pole there is nothing to compare
    below = np.polyval(np.poly(poles), point) if poles else 1.0
    above = gain * (np.polyval(np.poly(zeros), point) if zeros else 1.0)
    scale = abs(gain) * (abs(point) + 5.0) ** len(zeros) / abs(below)
    assert response(part(zeros, poles, gain, period_s), omega) == pytest.approx(above / below, rel=1e-9,
                                                                                abs=1e-9 * scale)


@few
@given(zeros=roots, poles=damped, omega=omegas, delay_s=st.floats(0, 2))
def test_dead_time_turns_and_nothing_else(
    zeros: list[complex], poles: list[complex], omega: float, delay_s: float
) -> None:
    late, prompt = (response(part(zeros, [*poles, -1.0], 2.0, 0.0, delay), omega) for delay in (delay_s, 0.0))
    assert late == pytest.approx(prompt * cmath.exp(-1j * omega * delay_s), rel=1e-12)


@few
@given(zeros=roots, poles=damped, omega=omegas, period_s=st.sampled_from([0.0, 0.003]))
def test_real_coefficients_give_conjugate_symmetry(
    zeros: list[complex], poles: list[complex], omega: float, period_s: float
) -> None:
    """G(−jω) is the conjugate of G(jω): the impulse response is real."""
    real = part(paired(zeros), [*paired(poles), -6.0], 0.7, period_s, 0.25)
    assert response(real, -omega) == pytest.approx(response(real, omega).conjugate(), rel=1e-9)


def test_on_an_undamped_pole_there_is_no_response() -> None:
    """Margins refuse such parts beforehand; asked all the same, Python's own error says what was divided by."""
    with pytest.raises(ZeroDivisionError):
        response(part([], [2j], 1.0), 2.0)


def test_first_order_lag_at_its_corner() -> None:
    """1/(s + 1) at 1 rad/s: 3 dB and 45° down, by definition of the corner."""
    value = response(part([], [-1.0], 1.0), 1.0)
    assert abs(value) == pytest.approx(1.0 / math.sqrt(2.0), rel=1e-12)
    assert cmath.phase(value) == pytest.approx(-math.pi / 4.0, rel=1e-12)


def test_unity_has_no_dynamics() -> None:
    assert {response(Unity(2.5), w) for w in (0.0, 1.0, 1e4)} == {2.5 + 0j}


def test_the_verb_works_in_compiled_code() -> None:
    @njit
    def both(first, second, omega):  # type: ignore[no-untyped-def]
        return response(first, omega) * response(second, omega)

    lag = part([], [-3.0], 3.0)
    assert both(lag, Unity(2.0), 4.0) == pytest.approx(2.0 * response(lag, 4.0), rel=1e-15)


def test_a_sweep_is_the_response_at_each_frequency() -> None:
    lag, omega = part([0.5j], [-3.0, -2.0], 3.0, 0.0, 0.1), np.geomspace(0.1, 100.0, 17)
    assert sweep(lag, omega).tolist() == [response(lag, w) for w in omega]
    assert sweep(lag, omega[:0]).shape == (0,)
