"""Zero-order hold and dead time of any length against textbooks, through the very function that margins use.

References 4.2 to 4.4 of the project's list, and two examples of Åström & Wittenmark; each test carries its tag.
"""
import cmath
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from controller.margins.sampled import Discrete, sample, sampled_plant, sampled_response
from controller.tick.timing import Timing
from plant.linear import Linear, linear

few = settings(max_examples=40, deadline=None)


def plant_of(numerator: list[float], denominator: list[float]) -> Linear:
    """A twin of one transfer function (controllable form), seen alike as light and as reading."""
    n, leading = len(denominator) - 1, denominator[0]
    a = np.zeros((n, n))
    a[0], a[1:, :-1] = -np.array(denominator[1:]) / leading, np.eye(n - 1)
    b, row = np.zeros((n, 1)), np.zeros(n)
    b[0], row[n - len(numerator):] = 1.0, np.array(numerator) / leading
    return linear(a, b, [row, row], np.zeros((2, 1)), "command", "light reading", " ".join(f"x{i}" for i in range(n)))


def sampled(twin: Linear, period_s: float, dead_time_s: float = 0.0) -> Discrete:
    return sample(twin, Timing(period_s=period_s, dead_time_s=dead_time_s))


def pulse_transfer(discrete: Discrete) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Numerator and denominator in z without dead time: det(zI − Φ + Γ c) − det(zI − Φ) over det(zI − Φ)."""
    below: Any = np.poly(discrete.phi)
    above: Any = np.poly(discrete.phi - np.outer(discrete.new, discrete.c[0])) - below
    return above[1:], below


def at(discrete: Discrete, z: complex) -> complex:
    w = discrete.whole_ticks
    entering = discrete.new * z**-w + discrete.old * z ** -(w + 1)
    return complex(discrete.c[0] @ np.linalg.solve(z * np.eye(len(discrete.phi)) - discrete.phi, entering))


def response_at(discrete: Discrete, omega: float) -> complex:
    """What the margin search itself sees."""
    return complex(sampled_response(sampled_plant(discrete, 1.0, 0.0, 1.0), omega))


# --- whole ticks ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("period_s", "book", "computed"), [
    (1.0, (0.0484, 0.9672, 0.9048), (0.048374, 0.967218)),
    (0.5, (0.0123, 0.9835, 0.9512), (0.012294, 0.983472)),
])
def test_antenna_example(period_s: float, book: tuple[float, ...], computed: tuple[float, ...]) -> None:
    """G = 0.1/(s (s + 0.1)) becomes K (z + b)/((z − 1)(z − p)).

    Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. [seen]; further digits [computed], and the
    closed form K = 10 (0.1 T − 1 + p), K b = 10 (1 − p − 0.1 T p) with p = e^{−0.1 T}.
    """
    above, below = pulse_transfer(sampled(plant_of([0.1], [1.0, 0.1, 0.0]), period_s))
    gain, zero, pole = above[0], above[1] / above[0], float(np.min(np.roots(below).real))
    assert (gain, zero, pole) == pytest.approx(book, rel=2e-3)
    assert gain == pytest.approx(computed[0], abs=1e-6)
    assert zero == pytest.approx(computed[1], abs=1e-6)
    p = math.exp(-0.1 * period_s)
    assert pole == pytest.approx(p, rel=1e-9)
    assert np.max(np.roots(below).real) == pytest.approx(1.0, rel=1e-9)
    assert gain == pytest.approx(10.0 * (0.1 * period_s - 1.0 + p), rel=1e-6)
    assert gain * zero == pytest.approx(10.0 * (1.0 - p - 0.1 * period_s * p), rel=1e-6)


@pytest.mark.parametrize("h", [0.001, 0.1, 1.0])
def test_double_integrator(h: float) -> None:
    """1/s² becomes h²/2 (z + 1)/(z − 1)²: carried in python-control's own tests [seen]. A pole twice at z = 1."""
    discrete = sampled(plant_of([1.0], [1.0, 0.0, 0.0]), h)
    above, below = pulse_transfer(discrete)
    assert above / (0.5 * h * h) == pytest.approx([1.0, 1.0], rel=1e-9)
    assert below == pytest.approx([1.0, -2.0, 1.0], abs=1e-12)
    for angle in (0.01, 0.5, 2.0):
        z = cmath.exp(1j * angle)
        assert response_at(discrete, angle / h) == pytest.approx(0.5 * h * h * (z + 1.0) / (z - 1.0) ** 2, rel=1e-9)


def test_triple_integrator() -> None:
    """1/s³ becomes h³/6 (z² + 4 z + 1)/(z − 1)³ (Åström, Hagander & Sternby 1984, zeros of sampled systems)
    [memory, high]: its zero at −2 − √3 is unstable although 1/s³ has none."""
    h = 0.01
    above, below = pulse_transfer(sampled(plant_of([1.0], [1.0, 0.0, 0.0, 0.0]), h))
    assert above / (h**3 / 6.0) == pytest.approx([1.0, 4.0, 1.0], rel=1e-6)
    assert below == pytest.approx([1.0, -3.0, 3.0, -1.0], abs=1e-9)
    assert np.min(np.roots(above)) == pytest.approx(-2.0 - math.sqrt(3.0), rel=1e-6)


# --- fractions of a tick ----------------------------------------------------------------------------------------


@few
@given(st.floats(0.05, 0.99), st.integers(0, 12), st.floats(0.01, 2))
def test_double_integrator_with_dead_time(share: float, whole: int, h: float) -> None:
    """Γ for the new command [(h − τ)²/2, h − τ], for the old one [τ (h − τ/2), τ], Φ = [[1, h], [0, 1]], with τ the
    fraction and whole ticks beside it: Åström & Wittenmark, Computer-Controlled Systems [memory, high]."""
    twin = linear([[0.0, 1.0], [0.0, 0.0]], [[0.0], [1.0]], [[1.0, 0.0]] * 2, np.zeros((2, 1)), "command",
                  "light reading", "position speed")
    discrete, late = sampled(twin, h, (whole + share) * h), share * h
    assert discrete.whole_ticks == whole
    assert discrete.phi == pytest.approx(np.array([[1.0, h], [0.0, 1.0]]), rel=1e-12)
    assert discrete.new == pytest.approx([0.5 * (h - late) ** 2, h - late], rel=1e-9)
    assert discrete.old == pytest.approx([late * (h - 0.5 * late), late], rel=1e-9)


@few
@given(st.floats(0.05, 5), st.floats(0.05, 0.95), st.integers(0, 12), st.floats(0.05, 2))
def test_first_order_lag_with_dead_time(alpha: float, share: float, whole: int, h: float) -> None:
    """dx/dt = −α x + u(t − τ): Γ new (1 − e^{−α(h−τ)})/α, Γ old e^{−α(h−τ)} (1 − e^{−ατ})/α, the standard example of
    Åström & Wittenmark [memory, high]."""
    discrete, late = sampled(plant_of([1.0], [1.0, alpha]), h, (whole + share) * h), share * h
    early = math.exp(-alpha * (h - late))
    assert discrete.phi[0, 0] == pytest.approx(math.exp(-alpha * h), rel=1e-9)
    assert discrete.new[0] == pytest.approx((1.0 - early) / alpha, rel=1e-9)
    assert discrete.old[0] == pytest.approx(early * (1.0 - math.exp(-alpha * late)) / alpha, rel=1e-9)


@few
@given(st.floats(0.05, 5), st.floats(0.05, 0.95), st.integers(0, 12), st.floats(0.05, 2), st.floats(0.05, math.pi))
def test_modified_z_transform(a: float, share: float, whole: int, h: float, angle: float) -> None:
    """1/(s + a) behind the hold, late by w + 1 − m ticks: [(1 − e^{−a m h}) z + e^{−a m h} − e^{−a h}]/(a z^{w+1}
    (z − e^{−a h})), from tables of the modified z-transform (Jury; Franklin & Powell) [memory, high]."""
    m, z = 1.0 - share, cmath.exp(1j * angle)
    discrete = sampled(plant_of([1.0], [1.0, a]), h, (whole + share) * h)
    new, decay = math.exp(-a * m * h), math.exp(-a * h)
    table = ((1.0 - new) * z + new - decay) / (a * z ** (whole + 1) * (z - decay))
    assert response_at(discrete, angle / h) == pytest.approx(table, rel=1e-8)


@few
@given(st.floats(5, 300), st.floats(5, 300), st.floats(0, 0.015), st.floats(5, 400))
def test_aliases_add_up(one: float, other: float, dead_time_s: float, frequency_Hz: float) -> None:
    """H(e^{jωT}) = 1/T Σ G(j(ω + kω_s)) H0(j(ω + kω_s)) e^{−jD(ω + kω_s)}, with H0(s) = (1 − e^{−sT})/s the hold:
    Poisson's sum, the definition of sampling [computed]. Dead time counts at each alias with its own frequency, which
    is why a fraction of a tick is more than a turn of the baseband."""
    period = 0.001
    twin = plant_of([one * other], [1.0, one + other, one * other])
    omega = 2.0 * math.pi * (frequency_Hz + np.arange(-4000, 4001) / period)
    s = 1j * omega
    terms = (one * other / ((s + one) * (s + other)) * (1.0 - np.exp(-s * period)) / s * np.exp(-s * dead_time_s))
    found = response_at(sampled(twin, period, dead_time_s), 2.0 * math.pi * frequency_Hz)
    assert found == pytest.approx(complex(np.sum(terms)) / period, rel=1e-6)


# --- the hold as a delay ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("crossover_Hz", "rate_Hz", "degrees"), [
    (40.0, 1000.0, 7.2), (50.0, 1000.0, 9.0), (100.0 / 3.0, 1000.0, 6.0), (1.0, 20.0, 9.0), (1.0, 30.0, 6.0)])
def test_the_hold_costs_half_a_tick(crossover_Hz: float, rate_Hz: float, degrees: float) -> None:
    """ωT/2: 7.2° for 40 Hz at 1 kHz, 9° at twenty and 6° at thirty ticks a period [computed]; the rule from Franklin &
    Powell and Åström & Wittenmark [memory, high].

    A sampled integrator T/(z − 1) shows it bare: it stands exactly −ωT/2 behind the continuous one.
    """
    omega = 2.0 * math.pi * crossover_Hz
    integrator = response_at(sampled(plant_of([1.0], [1.0, 0.0]), 1.0 / rate_Hz), omega)
    assert math.degrees(cmath.phase(integrator / (1.0 / (1j * omega)))) == pytest.approx(-degrees, rel=1e-9)
    half = 0.5 * omega / rate_Hz
    assert abs(integrator) * omega == pytest.approx(half / math.sin(half), rel=1e-9)
    hold = (1.0 - cmath.exp(-2j * half)) / (2j * half)
    assert math.degrees(cmath.phase(hold)) == pytest.approx(-degrees, rel=1e-9)
