"""Branch-free elementary functions against the exact ones: within two units in the last place, extremes, NaN."""
import math
from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.numerics.elementary import atan, cosine_of_turns, exp, log, power_of_two

PI = Decimal("3.14159265358979323846264338327950288419716939937510582")  # [memory, high]


def units_off(found: float, true: Decimal) -> float:
    """Distance from the true value in units in the last place of it."""
    return float(abs(Decimal(found) - true) / Decimal(math.ulp(float(true))))


def exact_atan(x: float) -> Decimal:
    """Arctangent in 50 digits: halved four times, then its power series (textbook)."""
    value = Decimal(x)
    for _ in range(4):
        value = value / (1 + (1 + value * value).sqrt())
    term, total, k = value, value, 1
    while abs(term) > Decimal(10) ** -45 * abs(total):
        term, k = -term * value * value, k + 2
        total += term / k
    return 16 * total


def exact_cosine(turns: float) -> Decimal:
    """cos(2π turns) in 50 digits by its power series (textbook)."""
    share = Decimal(turns) - Decimal(round(turns))
    square, term, total, k = (2 * PI * share) ** 2, Decimal(1), Decimal(1), 0
    while abs(term) > Decimal(10) ** -45:
        k += 2
        term = -term * square / (k * (k - 1))
        total += term
    return total


@given(st.floats(-707.0, 709.0) | st.floats(-1.0, 1.0) | st.floats(-1e-9, 1e-9))
def test_exp(x: float) -> None:
    with localcontext() as context:
        context.prec = 50
        assert units_off(exp(x), Decimal(x).exp()) < 2.0


@given(st.floats(-4.0, 4.0) | st.floats(1e-300, 1e300))
def test_atan(x: float) -> None:
    with localcontext() as context:
        context.prec = 60
        assert x == 0.0 or units_off(atan(x), exact_atan(x)) < 2.0
        assert atan(-x) == -atan(x)


@given(st.floats(1e-300, 1e300) | st.floats(2.0**-53, 1.0) | st.floats(0.999, 1.001))
def test_log(x: float) -> None:
    with localcontext() as context:
        context.prec = 50
        assert log(x) == 0.0 if x == 1.0 else units_off(log(x), Decimal(x).ln()) < 2.0


@given(st.floats(-3.0, 3.0) | st.floats(-1e6, 1e6))
def test_cosine_of_turns(turns: float) -> None:
    with localcontext() as context:
        context.prec = 50
        assert abs(float(Decimal(cosine_of_turns(turns)) - exact_cosine(turns))) < 2.5e-16


def test_fixed_points() -> None:
    assert (exp(0.0), log(1.0), atan(0.0), atan(1.0)) == (1.0, 0.0, 0.0, math.pi / 4.0)
    assert [cosine_of_turns(0.25 * k) for k in range(-4, 5)] == [1, 0, -1, 0, 1, 0, -1, 0, 1]
    assert math.copysign(1.0, atan(-0.0)) == -1.0


def test_powers_of_two() -> None:
    assert [power_of_two(n) for n in (-1022, -3, -1, 0, 1, 15, 1023)] == [
        2.0**n for n in (-1022, -3, -1, 0, 1, 15, 1023)]


def test_extremes() -> None:
    assert exp(-math.inf) == exp(-1e300) == exp(-709.0) == 0.0 and exp(math.inf) == exp(710.0) == math.inf
    assert math.isfinite(exp(709.0)) and exp(-708.0) > 0.0
    assert atan(math.inf) == -atan(-math.inf) == math.pi / 2.0
    assert log(2.0**-53) == pytest.approx(-53.0 * math.log(2.0), rel=1e-15)
    assert all(math.isnan(f(math.nan)) for f in (exp, atan, cosine_of_turns))


@given(st.floats(-700.0, 700.0), st.floats(1e-6, 1.0))
def test_monotone(x: float, more: float) -> None:
    assert exp(x) < exp(x + more)
    assert atan(1e-2 * x) < atan(1e-2 * x + more)
