"""Each detector of pressure fires, stays silent, is silenced by name, and fires later with a wider limit."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.detectors_pressure import (
    Exposure,
    ExposureState,
    LimitState,
    PressureLimit,
    PressureRate,
    RateState,
    Redundancy,
    RedundancyState,
    SupplyRange,
    SupplyState,
    exposure_step,
    pressure_limit_step,
    pressure_rate_step,
    redundancy_step,
    supply_range_step,
)
from controller.protection.watched import Slow
from tests.controller.protection.detector_bench import fired_at

NOTHING = {}
NO_EXPOSURE = ExposureState(Slow(0.0, 0.0), False)
CASES = {  # name: step, part, start, what makes it fire, and what is just not enough
    "limit": (pressure_limit_step, PressureLimit(), LimitState(0, False), lambda k: {"reading_mmHg": 285.0},
              lambda k: {"reading_mmHg": 285.0 if k % 30 else 90.0}),
    "rate": (pressure_rate_step, PressureRate(), RateState(90.0, 0.0, False),
             lambda k: {"reading_mmHg": 90.0 + 9.0 * k}, lambda k: {"reading_mmHg": 90.0 + 4.0 * k}),
    "falling rate": (pressure_rate_step, PressureRate(), RateState(90.0, 0.0, False),
                     lambda k: {"reading_mmHg": 90.0 - 9.0 * k}, lambda k: {"reading_mmHg": 90.0 - 4.0 * k}),
    "rate while filling": (pressure_rate_step, PressureRate(), RateState(90.0, 0.0, False),
                           lambda k: {"reading_mmHg": 90.0 + 9.0 * k},
                           lambda k: {"reading_mmHg": 90.0 + 9.0 * k, "clamped_ticks": 0}),
    "exposure": (exposure_step, Exposure(limit_mmHg_s=30.0), ExposureState(Slow(0.0, 0.0), False),
                 lambda k: {"reading_mmHg": 270.0}, lambda k: {"reading_mmHg": 219.0}),
    "too high": (redundancy_step, Redundancy(), RedundancyState(0.0, 0, False),
                 lambda k: {"second_mmHg": 98.0}, lambda k: {"second_mmHg": 94.0}),
    "too low": (redundancy_step, Redundancy(), RedundancyState(0.0, 0, False),
                lambda k: {"second_mmHg": 82.0}, lambda k: {"second_mmHg": 86.0}),
    "supply low": (supply_range_step, SupplyRange(lowest_mmHg=500.0, highest_mmHg=700.0), SupplyState(0, False),
                   lambda k: {"supply_mmHg": 499.0}, lambda k: {"supply_mmHg": 501.0}),
    "supply high": (supply_range_step, SupplyRange(lowest_mmHg=500.0, highest_mmHg=700.0), SupplyState(0, False),
                    lambda k: {"supply_mmHg": 701.0}, lambda k: {"supply_mmHg": 699.0}),
}


@pytest.mark.parametrize("name", CASES)
def test_it_fires_and_stays_silent(name):
    step, part, start, wrong, right = CASES[name]
    assert fired_at(step, part, start, 2000, wrong) >= 0
    assert fired_at(step, part, start, 2000, right) == -1
    assert fired_at(step, part, start, 2000, lambda k: NOTHING) == -1
    assert fired_at(step, part._replace(enabled=False), start, 2000, wrong) == -1


@given(st.floats(0.0, 1.0))
@settings(max_examples=20, deadline=None)
def test_the_limit_waits_for_its_time(hold):
    part = PressureLimit(hold_s=hold)
    found = fired_at(pressure_limit_step, part, LimitState(0, False), 1200, lambda k: {"reading_mmHg": 300.0})
    assert found + 1 == pytest.approx(max(hold / 0.001, 1.0), abs=0.5 + 1e-6)  # the nearest tick


@given(st.floats(250.0, 400.0), st.floats(1.0, 20.0))
@settings(max_examples=20, deadline=None)
def test_exposure_is_the_integral_above_its_allowance(pressure, limit):
    """Without forgetting the time to the limit is the limit over the excess."""
    part = Exposure(limit_mmHg_s=limit, memory_s=1e5)
    found = fired_at(exposure_step, part, NO_EXPOSURE, 3000, lambda k: {"reading_mmHg": pressure})
    assert found * 0.001 == pytest.approx(limit / (pressure - 240.0), rel=0.01, abs=0.002)
