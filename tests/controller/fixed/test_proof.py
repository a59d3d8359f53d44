"""The proof: no run reaches its bounds, worst inputs come near them, and a sum too wide is refused by name."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.formats import plan
from controller.fixed.law import initial_fixed
from controller.fixed.proof import BITS, largest_sums, prove
from controller.fixed.ranges import ranges_of
from controller.tick.law import control_demand, control_settle
from plant.errors import InputError
from tests.controller.fixed.helper import LAW, RANGES, laws

ORDER = {"state of the lead": 0, "states of the notch": 1, "integral": 3, "state of the derivative": 4}


@settings(deadline=None, max_examples=25)
@given(laws(), st.sampled_from([8, 16, 24, 32]), st.integers(0, 2**32 - 1))
def test_a_violent_run_stays_within_the_bounds(coefficients, words, seed):
    law, _ = plan(coefficients, words, ranges_of(coefficients, 64.0, 2.0, 2.0))
    bounds, chance = largest_sums(law), np.random.default_rng(seed)
    state = initial_fixed()
    for _ in range(40):
        demand, terms = control_demand(law, state, float(chance.choice([-1e9, 1e9, 3.0])))
        assert abs(terms.integral + terms.proportional + law.rate_unit * terms.rate) <= bounds["demand"]
        state = control_settle(law, state, terms, float(chance.choice([-1e9, 1e9, demand])))
        for name, index in ORDER.items():
            assert abs(state[index]) <= bounds[name]


@pytest.mark.parametrize("words", range(8, 33, 4))
def test_every_planned_law_is_proved(words):
    law, _ = plan(LAW, words, RANGES)
    assert max(prove(law).values()) <= BITS - 1


@pytest.mark.parametrize(("field", "name"), [
    ("lead_b0", "state of the lead"), ("lead_a1", "state of the lead"), ("notch_b1", "states of the notch"),
    ("notch_a2", "states of the notch"), ("notch_b0", "states of the notch"),
    ("derivative_pole", "state of the derivative"), ("derivative_gain", "state of the derivative"),
    ("integral_old", "integral"), ("tracking_gain", "integral"), ("integral_most", "integral"),
    ("proportional", "demand"), ("rate_unit", "demand"), ("demand_unit", "preset integral"),
])
def test_a_sum_that_could_leave_its_bits_is_refused_by_name(field, name):
    law, _ = plan(LAW, 24, RANGES)
    too_large = 2**62 if field == "integral_most" else 2**41
    with pytest.raises(InputError, match=f"'{name}'"):
        prove(law._replace(**{field: too_large * (2 if field == "integral_most" else 1)}))
