"""The state arithmetic in Python and compiled, and the order of the Runge–Kutta weights."""
import math
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from plant.numerics.integrate import NOTHING, advance, weigh, without_denormals

few = settings(max_examples=30, deadline=None)
numbers = st.floats(-1e6, 1e6)


class Swing(NamedTuple):
    """Position and velocity of an oscillator."""

    position: float
    velocity: float


class Nest(NamedTuple):
    """A state inside a state, with plain tuples of either length."""

    swing: Swing
    pair: tuple[float, float]
    single: tuple[float]
    rest: float


@njit
def compiled_advance(state: Any, step: float, rate: Any) -> Any:
    return advance(state, step, rate)


@njit
def compiled_weigh(first: Any, second: Any, third: Any, fourth: Any) -> Any:
    return weigh(first, second, third, fourth)


@njit
def compiled_clean(state: Any) -> Any:
    return without_denormals(state)


nests = st.builds(Nest, st.builds(Swing, numbers, numbers), st.tuples(numbers, numbers), st.tuples(numbers), numbers)


@few
@given(nests, nests, st.floats(-1, 1))
def test_compiled_arithmetic_is_the_interpreted_one(state: Nest, rate: Nest, step: float) -> None:
    """Same shape, same classes; equal but for the last bit that a fused multiply-add may round differently."""
    ours, theirs = compiled_advance(state, step, rate), advance(state, step, rate)
    assert isinstance(ours, Nest) and isinstance(ours.swing, Swing) and isinstance(ours.pair, tuple)
    for a, b in zip((*ours.swing, *ours.pair, *ours.single, ours.rest),
                    (*theirs.swing, *theirs.pair, *theirs.single, theirs.rest), strict=True):
        assert a == pytest.approx(b, rel=1e-12, abs=1e-9)
    assert theirs.pair == (state.pair[0] + step * rate.pair[0], state.pair[1] + step * rate.pair[1])


@few
@given(nests, nests, st.floats(-1, 1))
def test_weights_sum_to_one(state: Nest, other: Nest, step: float) -> None:
    """Four equal slopes weigh to themselves, and the weights are 1 : 2 : 2 : 1."""
    assert weigh(1.0, 0.0, 0.0, 0.0) == 1.0 / 6.0
    assert weigh(0.0, 1.0, 0.0, 0.0) == weigh(0.0, 0.0, 1.0, 0.0) == 2.0 / 6.0
    assert compiled_weigh(state, state, state, state).swing.position == pytest.approx(state.swing.position)
    assert compiled_weigh(state, other, other, state).rest == pytest.approx(weigh(state, other, other, state).rest)


def test_only_what_is_next_to_nothing_becomes_zero() -> None:
    """Denormals and the like go, of either sign; everything else stays to the last bit, infinity and NaN too."""
    state = Nest(Swing(5e-324, -0.5 * NOTHING), (2.0 * NOTHING, -1e-3), (math.inf,), math.nan)
    for after in (without_denormals(state), compiled_clean(state)):
        assert isinstance(after, Nest) and isinstance(after.swing, Swing)
        assert after[:3] == (Swing(0.0, 0.0), (2.0 * NOTHING, -1e-3), (math.inf,))
        assert math.isnan(after.rest)


@njit
def oscillate(state: Swing, omega: float, step: float, steps: int) -> Swing:
    for _ in range(steps):
        one = Swing(state.velocity, -omega * omega * state.position)
        s = advance(state, 0.5 * step, one)
        two = Swing(s.velocity, -omega * omega * s.position)
        s = advance(state, 0.5 * step, two)
        three = Swing(s.velocity, -omega * omega * s.position)
        s = advance(state, step, three)
        four = Swing(s.velocity, -omega * omega * s.position)
        state = advance(state, step, weigh(one, two, three, four))
    return state


@few
@given(st.floats(0.5, 5), st.floats(0.2, 2))
def test_halving_the_step_divides_the_error_by_sixteen(omega: float, time_s: float) -> None:
    """Fourth order on the harmonic oscillator, whose solution is known (Kutta 1901)."""
    errors = []
    for steps in (32, 64):
        end = oscillate(Swing(1.0, 0.0), omega, time_s / steps, steps)
        errors.append(math.hypot(end.position - math.cos(omega * time_s),
                                 end.velocity / omega + math.sin(omega * time_s)))
    if errors[1] > 1e-13:  # below that it is rounding
        assert errors[0] / errors[1] == pytest.approx(16.0, rel=0.1)


@few
@given(st.lists(st.floats(-3, 3), min_size=4, max_size=4), st.floats(0.1, 2))
def test_cubic_rates_are_integrated_exactly(coefficients: list[float], step: float) -> None:
    """With a rate that depends on time alone the method is Simpson's rule, exact to the third power."""
    def rate(t: float) -> float:
        return sum(c * t**k for k, c in enumerate(coefficients))

    ours = advance(0.0, step, weigh(rate(0.0), rate(0.5 * step), rate(0.5 * step), rate(step)))
    exact = sum(c * step ** (k + 1) / (k + 1) for k, c in enumerate(coefficients))
    assert ours == pytest.approx(exact, rel=1e-12, abs=1e-12)


def test_shapes_must_agree() -> None:
    """A rate of another length is a programming error, said at once."""
    with pytest.raises(ValueError, match="argument 2 is shorter"):
        advance((1.0, 2.0), 0.1, (1.0,))
