"""Detectors of what must add up: each fires, stays silent, is silenced by name, and measures what it says."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.detectors_balance import (
    AirState,
    AirUse,
    Following,
    FollowingState,
    air_use_step,
    following_step,
)
from tests.controller.protection.detector_bench import QUIET, fired_at

STILL = FollowingState(0.0, 0.0, 0.0, 0.0, 90.0, 0.0, 0, False)
BALANCED = AirState(0.0, 600.0, 0.0, 90.0, 0.0, 0.0, 0, False)
PART = Following(share=0.1)
AIR = AirUse(cuff_mL_mmHg=0.01, reservoir_mL_mmHg=0.2)


def pulse(k, error, size=15.0):
    """A pulse of 1.5 Hz in the reading, and in the error."""
    wave = math.sin(2.0 * math.pi * 1.5 * 0.001 * k)
    return {"reading_mmHg": 90.0 + size * wave, "error_mmHg": error * wave}


def mean_draw(size):
    """Mean of what a sine of 1.5 Hz and this amplitude draws [mL/s]: C · 2A a period."""
    return AIR.cuff_mL_mmHg * 2.0 * size * 1.5


CASES = {
    "too little gain": (following_step, PART, STILL, lambda k: pulse(k, 2.5), lambda k: pulse(k, 1.0)),
    "swings slowly": (following_step, PART, STILL, lambda k: pulse(k, 8.0, 60.0), lambda k: pulse(k, 2.0, 60.0)),
    "weak pulse": (following_step, PART, STILL, lambda k: pulse(k, 1.0, 3.0), lambda k: pulse(k, 0.3, 3.0)),
    "leak": (air_use_step, AIR, BALANCED, lambda k: {**pulse(k, 0.0), "pump_mL_s": mean_draw(15.0) + 1.0},
             lambda k: {**pulse(k, 0.0), "pump_mL_s": mean_draw(15.0) + 0.3}),
    "reading swings alone": (air_use_step, AIR, BALANCED, lambda k: {**pulse(k, 0.0, 90.0), "pump_mL_s": 0.45},
                             lambda k: {**pulse(k, 0.0, 15.0), "pump_mL_s": 0.45}),
    "pump stands still": (air_use_step, AIR, BALANCED, lambda k: {"supply_mmHg": 600.0 - 0.005 * k, "pump_mL_s": 0.0},
                          lambda k: {"supply_mmHg": 600.0 - 0.002 * k, "pump_mL_s": 0.0}),
    "bleed": (air_use_step, AIR, BALANCED, lambda k: {"pump_mL_s": 1.2}, lambda k: {"pump_mL_s": 0.2}),
}


@pytest.mark.parametrize("name", CASES)
def test_it_fires_and_stays_silent(name):
    step, part, start, wrong, right = CASES[name]
    assert fired_at(step, part, start, 8000, wrong) >= 0
    assert fired_at(step, part, start, 8000, right) == -1
    assert fired_at(step, part._replace(enabled=False), start, 8000, wrong) == -1


def test_a_bleed_explains_its_own_flow():
    part = AIR._replace(bleed_mL_s=1.2)
    assert fired_at(air_use_step, part, BALANCED, 8000, lambda k: {"pump_mL_s": 1.2}) == -1


def test_a_noisy_finger_is_given_room():
    """Fast demand of ±0.3 of 20 mL/s explains 1.2 mL/s that the reading does not; light of 5 mmHg explains 2 mmHg."""
    part = AIR._replace(demand_mL_s=20.0)
    for fast, fires in ((0.0, True), (0.3, False)):
        found = fired_at(air_use_step, part, BALANCED, 8000,
                         lambda k, fast=fast: {"pump_mL_s": 1.5, "demand": fast * (-1.0) ** k})
        assert (found >= 0) == fires
    for noise, fires in ((0.0, True), (5e-6, False)):
        found = fired_at(following_step, PART, STILL, 6000,
                         lambda k, noise=noise: {**pulse(k, 2.5), "light_slope": 1e-6, "light_noise": noise})
        assert (found >= 0) == fires


def test_without_thresholds_it_does_not_look():
    assert fired_at(following_step, Following(), STILL, 5000, lambda k: pulse(k, 15.0)) == -1
    assert fired_at(air_use_step, AirUse(), BALANCED, 5000, lambda k: {"pump_mL_s": 50.0}) == -1


@given(st.floats(0.5, 5.0), st.floats(0.8, 3.0))
@settings(max_examples=10, deadline=None)
def test_the_error_in_the_band_is_a_root_mean_square(size, hertz):
    """A sine of amplitude A in the band has A/√2, times the gain of two lags at 12 Hz and of a high-pass at 0.5 Hz."""
    state, part = STILL, Following(share=1.0, memory_s=2.0)
    for k in range(8000):
        state = following_step(part, state, QUIET._replace(error_mmHg=size * math.sin(2e-3 * math.pi * hertz * k)))
    gain = 1.0 / (1.0 + (hertz / 12.0) ** 2) / math.hypot(1.0, 0.5 / hertz)
    assert math.sqrt(state.error_square) == pytest.approx(gain * size / math.sqrt(2.0), rel=0.1)


@given(st.floats(0.5, 40.0), st.floats(0.0, 3.0))
@settings(max_examples=10, deadline=None)
def test_air_used_is_conserved(leak_mL_s, pump_mL_s):
    """What the pump gives and the reservoir loses is used: in the long run the leak, however the two share it."""
    state = BALANCED
    for k in range(8000):
        fall = (leak_mL_s - pump_mL_s) / AIR.reservoir_mL_mmHg * 0.001 * k
        state = air_use_step(AIR, state, QUIET._replace(pump_mL_s=pump_mL_s, supply_mmHg=600.0 - fall))
    used = state.pump_mL_s - AIR.reservoir_mL_mmHg * (600.0 - fall - state.supply_mmHg) / AIR.memory_s
    assert used - state.explained_mL_s == pytest.approx(leak_mL_s, rel=2e-3, abs=1e-3)


@pytest.mark.parametrize(("rise_mmHg_s", "pump_mL_s", "fires"), [
    (10.0, 2.0, False), (-10.0, 2.0, True), (-5.0, 0.0, True), (10.0, 4.0, True), (10.0, 0.0, True),
])
def test_air_that_stays_in_the_reservoir_is_not_used(rise_mmHg_s, pump_mL_s, fires):
    """0.2 mL/mmHg: a rise of 10 mmHg/s takes the 2 mL/s that the pump gives; a fall adds as much."""
    found = fired_at(air_use_step, AIR, BALANCED._replace(pump_mL_s=pump_mL_s), 15_000, lambda k: {
        "pump_mL_s": pump_mL_s, "supply_mmHg": 600.0 + rise_mmHg_s * 1e-3 * k, "clamped_ticks": 1 + 3 * k // 10})
    assert (found >= 0) == fires


@pytest.mark.parametrize(("reading_mmHg", "share"), [(22.5, 0.5), (90.0, 1.0), (202.5, 1.5)])
def test_a_bleed_goes_with_the_root_of_pressure(reading_mmHg, share):
    """4 mL/s at 90 mmHg are 2 at a quarter of it and 6 at nine quarters; 0.7 mL/s more or less are left alone."""
    part, at = AIR._replace(bleed_mL_s=4.0), BALANCED._replace(reading_mmHg=reading_mmHg)
    for more, fires in ((-0.8, True), (-0.7, False), (0.0, False), (0.7, False), (0.8, True)):
        flow = 4.0 * share + more
        found = fired_at(air_use_step, part, at, 9000, lambda k, q=flow: {"pump_mL_s": q, "reading_mmHg": reading_mmHg})
        assert (found >= 0) == fires


def test_a_lasting_error_is_none_of_the_pulse():
    """After a step of 10 mmHg the slow part catches up with 0.5 Hz: ∫ (10 e^{−t/τ})² dt = 100 τ/2, over 60 s."""
    state, part = STILL, Following(share=1.0, memory_s=60.0, high_Hz=200.0)
    for _ in range(3000):
        state = following_step(part, state, QUIET._replace(error_mmHg=10.0))
    assert state.error_square == pytest.approx(100.0 / (4.0 * math.pi * 0.5) / 60.0, rel=0.1)


@given(st.floats(0.0, 300.0), st.floats(0.0, 900.0), st.floats(0.0, 50.0), st.floats(-1.0, 1.0))
def test_the_clamp_begins_balanced(reading, supply, pump, demand):
    """Outside it nothing is left over from before: what is seen is what is explained."""
    seen = QUIET._replace(clamped_ticks=0, reading_mmHg=reading, supply_mmHg=supply, pump_mL_s=pump, demand=demand)
    messy = AirState(9.0, 9.0, 9.0, 9.0, 9.0, 9.0, 9, True)
    assert air_use_step(AIR, messy, seen) == AirState(pump, supply, pump, reading, 0.0, 0.0, 0, False)
    messy = FollowingState(9.0, 9.0, 9.0, 9.0, 9.0, 9.0, 9, True)
    assert following_step(PART, messy, seen) == FollowingState(0.0, 0.0, 0.0, 0.0, reading, 0.0, 0, False)
