"""The law on words: equal to exact arithmetic rounded at five places, and every term with the sign of the real law."""
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.formats import effective, plan
from controller.fixed.law import FixedState, fixed_terms, initial_fixed
from controller.fixed.ranges import ranges_of
from controller.tick.law import (
    ControllerState,
    bumpless_start,
    control_demand,
    control_settle,
    initial_control,
)
from tests.controller.fixed.helper import LAW, RANGES, Exact, laws, run

some = settings(deadline=None, max_examples=25)


@some
@given(laws(), st.sampled_from([8, 12, 16, 24, 32]), st.sampled_from(["nearest", "down"]),
       st.lists(st.tuples(st.floats(-300.0, 300.0), st.sampled_from([0.0, 0.0, 0.25, -0.5])), min_size=5, max_size=40))
def test_the_words_are_those_of_exact_arithmetic(coefficients, words, rounding, ticks):
    law, formats = plan(coefficients, words, ranges_of(coefficients, 64.0, 2.0, 2.0), rounding=rounding)
    exact = Exact(law, formats)
    errors, lost = zip(*ticks, strict=True)
    for (error, take), (demand, terms) in zip(ticks, run(law, errors, lost), strict=True):
        wanted = exact.tick(error, Fraction(take))
        bits = (formats.error, formats.lead, formats.notch, formats.rate, formats.demand)
        found = (terms.error, terms.lead, terms.notch, terms.rate, terms.demand)
        assert [Fraction(word, 1) / 2**b for word, b in zip(found, bits, strict=True)] == list(wanted)
        assert demand == float(wanted[-1])


UNITS = {"lead": (0, 64.0), "notch_1": (1, 32.0), "notch_2": (2, 32.0), "integral": (3, 0.25), "derivative": (4, 0.25)}


@pytest.mark.parametrize("name", UNITS)
def test_each_state_acts_as_in_the_real_law(name):
    law, f = plan(LAW, 32, RANGES._replace(rate=64.0, demand=64.0))
    index, size = UNITS[name]
    bits = (f.lead_sum, f.notch_sum, f.notch_sum, f.demand_sum, f.rate_sum)
    fixed, real = [0] * 5, [0.0] * 5
    fixed[index], real[index] = round(size * 2 ** bits[index]), size
    fixed, real = FixedState(*fixed), ControllerState(*real)
    for error in (3.0, -2.0, 0.0):
        demand, terms = control_demand(law, fixed, error)
        wanted, real_terms = control_demand(effective(law, f), real, error)
        assert demand == pytest.approx(wanted, abs=1e-6)
        assert fixed_terms(law, terms) == pytest.approx(real_terms, abs=1e-5)
        fixed = control_settle(law, fixed, terms, demand)
        real = control_settle(effective(law, f), real, real_terms, wanted)


@pytest.mark.parametrize("field", [name for name in LAW._fields if name not in (
    "period_s", "output_low", "output_high", "slew_per_tick", "output_quantum", "lead_a1", "notch_a1", "notch_a2",
    "derivative_pole")])
def test_each_coefficient_acts_with_its_own_sign_and_size(field):
    lost = [0.0, 0.3, -0.2, 0.0]
    errors = [1.5, -0.6, 0.4, 0.7]

    def demands(coefficients):
        state, out = initial_control(), []
        for error, take in zip(errors, lost, strict=True):
            demand, terms = control_demand(coefficients, state, error)
            out.append(demand)
            state = control_settle(coefficients, state, terms, demand - take)
        return np.array(out)

    changed = LAW._replace(**{field: 1.1 * getattr(LAW, field)})
    wanted = demands(changed) - demands(LAW)
    law, _ = plan(LAW, 32, RANGES)
    other, _ = plan(changed, 32, RANGES)
    found = np.array([d for d, _ in run(other, errors, lost)]) - np.array([d for d, _ in run(law, errors, lost)])
    assert np.max(np.abs(wanted)) > 1e-6
    np.testing.assert_allclose(found, wanted, atol=2e-7)


@some
@given(laws(), st.sampled_from([12, 16, 24, 32]), st.floats(-60.0, 60.0), st.floats(-1.9, 1.9))
def test_a_bumpless_start_gives_the_demand_that_was_in_force(coefficients, words, error, demand):
    law, _ = plan(coefficients, words, ranges_of(coefficients, 64.0, 2.0, 2.0))
    found, terms = control_demand(law, bumpless_start(law, error, demand), error)
    assert abs(found - demand) <= 0.5 * law.demand_step * (1 + 1e-9)
    assert terms.rate == 0


def test_an_error_smaller_than_a_demand_step_moves_the_wide_integral():
    law, _ = plan(LAW, 16, RANGES)
    error = law.notch_step  # one word of error
    assert LAW.integral_new * error < 0.5 * law.demand_step  # a word-long integral would not move
    rows = run(law, [error] * 2000)
    assert rows[-1][0] - rows[0][0] > 10 * law.demand_step


def test_a_demand_at_its_limit_does_not_wind_the_integral_up():
    law, _ = plan(LAW, 16, RANGES)
    state = initial_fixed()
    for _ in range(5000):
        demand, terms = control_demand(law, state, 60.0)
        state = control_settle(law, state, terms, min(demand, 0.5))
    assert abs(state.integral) <= law.integral_most
    for ticks in range(200):  # noqa: B007
        demand, terms = control_demand(law, state, -60.0)
        state = control_settle(law, state, terms, max(min(demand, 0.5), -0.5))
        if demand < 0.0:
            break
    assert ticks < 100
