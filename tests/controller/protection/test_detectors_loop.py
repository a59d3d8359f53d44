"""Detectors of the loop: each fires, stays silent, and is silenced by name."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.detectors_loop import (
    Deadlines,
    DeadlineState,
    NoPulse,
    Oscillation,
    OscillationState,
    PulseState,
    Response,
    ResponseState,
    Saturation,
    SaturationState,
    deadlines_step,
    no_pulse_step,
    oscillation_step,
    response_step,
    saturation_step,
)
from tests.controller.protection.detector_bench import QUIET, fired_at

REST = ResponseState(90.0, 90.0, 0.0, 0.0, 0.0, 0.0, 1.0, 80.0, 80.0, 0.0, False, False)
EMPTY = ResponseState(0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, 0.0, 0.0, 0.0, False, False)
LAGGED = Response(range_mmHg=300.0, fill_lag_s=0.02, fill_slew_mmHg_s=1e6)
FLOW, STAGE = Response(rate_mmHg_s=1000.0), Response(range_mmHg=300.0)


def wave(k, size, hertz):
    return size * math.sin(2.0 * math.pi * hertz * 0.001 * k)


def beat(k):
    """A reading with pulses of 40 mmHg."""
    return {"reading_mmHg": 90.0 + wave(k, 20.0, 1.0)}


def filling(lag_s):
    """A fill to 90 mmHg by a stage of 300 mmHg, with a first-order lag."""
    return lambda k: {"clamped_ticks": 0, "command": 0.3, "reading_mmHg": 90.0 * (1.0 - math.exp(-0.001 * k / lag_s))}


CASES = {
    "no flow comes": (response_step, FLOW, REST, lambda k: {"demand": 0.4}, lambda k: {"demand": 0.1}),
    "flow that nobody asked for": (response_step, FLOW, REST, lambda k: {"reading_mmHg": 90.0 + 0.4 * k},
                                   lambda k: {"reading_mmHg": 90.0 + 0.4 * k, "demand": 0.4}),
    "stage does not follow": (response_step, STAGE, REST, lambda k: {"command": 0.6}, lambda k: {"command": 0.3}),
    "light does not come": (response_step, Response(), REST, lambda k: {"error_mmHg": 15.0},
                            lambda k: {"error_mmHg": wave(k, 15.0, 5.0)}),
    "too large a bladder": (response_step, FLOW, EMPTY,
                            lambda k: {"clamped_ticks": 0, "reading_mmHg": 0.1 * k, "demand": 0.2},
                            lambda k: {"clamped_ticks": 0, "reading_mmHg": 0.1 * k, "demand": 0.1}),
    "too small a bladder": (response_step, FLOW, EMPTY,
                            lambda k: {"clamped_ticks": 0, "reading_mmHg": 0.1 * k, "demand": 0.05},
                            lambda k: {"clamped_ticks": 0, "reading_mmHg": 0.1 * k, "demand": 0.11}),
    "too long a fill": (response_step, LAGGED, EMPTY, filling(0.023), filling(0.021)),
    "too short a fill": (response_step, LAGGED, EMPTY, filling(0.015), filling(0.019)),
    "saturation": (saturation_step, Saturation(), SaturationState(0.0, False), lambda k: {"limited": True},
                   lambda k: {"limited": k % 2 == 0}),
    "oscillation": (oscillation_step, Oscillation(), OscillationState(0.0, 0.0, False),
                    lambda k: {"error_mmHg": wave(k, 12.0, 40.0)}, lambda k: {"error_mmHg": wave(k, 12.0, 1.0)}),
    "no pulse": (no_pulse_step, NoPulse(), PulseState(90.0, 1.0, 0, False), lambda k: {"reading_mmHg": 90.0}, beat),
    "drift is no pulse": (no_pulse_step, NoPulse(), PulseState(90.0, 1.0, 0, False),
                          lambda k: {"reading_mmHg": 90.0 + 0.005 * k}, beat),
    "missed ticks": (deadlines_step, Deadlines(), DeadlineState(0.0, False), lambda k: {"missed": float(k % 20 == 0)},
                     lambda k: {"missed": float(k % 200 == 0)}),
}


@pytest.mark.parametrize("name", CASES)
def test_it_fires_and_stays_silent(name):
    step, part, start, wrong, right = CASES[name]
    assert fired_at(step, part, start, 6000, wrong) >= 0
    assert fired_at(step, part, start, 6000, right) == -1
    assert fired_at(step, part._replace(enabled=False), start, 6000, wrong) == -1


@given(st.floats(1.0, 20.0), st.floats(20.0, 120.0))
@settings(max_examples=20, deadline=None)
def test_oscillation_is_judged_by_its_root_mean_square(size, hertz):
    """Well above the corner a sine of amplitude A has A/√2; the filter takes a part that its gain names."""
    part = Oscillation(memory_s=0.5)
    state = OscillationState(0.0, 0.0, False)
    for k in range(4000):
        state = oscillation_step(part, state, QUIET._replace(error_mmHg=wave(k, size, hertz)))
    ratio = hertz / part.above_Hz
    gain = ratio / math.sqrt(1.0 + ratio * ratio)
    assert math.sqrt(state.square) == pytest.approx(gain * size / math.sqrt(2.0), rel=0.12)


def test_no_pulse_waits_for_the_longest_pause_between_beats():
    """A pause of 4 s, the longest that a beat of ours can be, is no loss of pulse."""
    pause = fired_at(no_pulse_step, NoPulse(), PulseState(90.0, 1.0, 0, False), 20_000,
                     lambda k: {"reading_mmHg": 90.0 - 10.0 * (k % 4000 < 200)})
    assert pause == -1


def test_a_lively_demand_is_given_more_room():
    """A steady residual of 70 mmHg is too much at rest, and none of the valve's fault in a noisy loop."""
    def drifting(k, noise):
        return {"reading_mmHg": 90.0 + 0.28 * k, "demand": noise * (-1.0) ** k}

    assert fired_at(response_step, FLOW, REST, 3000, lambda k: drifting(k, 0.0)) >= 0
    assert fired_at(response_step, FLOW, REST, 3000, lambda k: drifting(k, 1.0)) == -1


@pytest.mark.parametrize("share", [0.0, 1e-5])
def test_oscillation_allows_for_what_the_light_adds(share):
    """At a slope of 1e-6 a sample's noise of 1e-5 is 10 mmHg: the loop's ±12 mmHg at 40 Hz is no oscillation then."""
    found = fired_at(oscillation_step, Oscillation(), OscillationState(0.0, 0.0, False), 3000,
                     lambda k: {"error_mmHg": wave(k, 12.0, 40.0), "light_slope": 1e-6, "light_noise": share})
    assert (found >= 0) == (share == 0.0)


@pytest.mark.parametrize(("lag_s", "fires"), [(0.0225, True), (0.0245, False), (0.0285, False), (0.0297, True)])
def test_a_quarter_of_the_time_at_full_slew_is_no_lag(lag_s, fires):
    """90 mmHg at 3000 mmHg/s are 30 ms: 7.5 ms of the mean lag are the stage's, 16.0 … 21.7 ms may be the line's."""
    slewed = LAGGED._replace(fill_slew_mmHg_s=3000.0)
    assert (fired_at(response_step, slewed, EMPTY, 600, filling(lag_s)) >= 0) == fires


@pytest.mark.parametrize(("at_time", "later", "fires"), [(20.0, 20.0, True), (19.5, 19.5, False), (19.5, 25.0, False)])
def test_a_fill_is_judged_once_by_the_rise_until_then(at_time, later, fires):
    """64 ticks of 2⁻¹⁰ s: 20 mmHg are enough to be judged, half a mmHg less are not, nor what comes later."""
    tick = 2.0**-10
    part, state = FLOW._replace(fit_s=64 * tick, fit_mmHg=20.0), EMPTY
    for k in range(1, 70):
        reading = at_time if k <= 64 else later
        state = response_step(part, state, QUIET._replace(period_s=tick, clamped_ticks=0, reading_mmHg=reading,
                                                          demand=1.0))
    assert state.fires == fires


def test_every_detector_of_the_clamp_begins_anew_outside_it():
    seen = QUIET._replace(clamped_ticks=0, error_mmHg=7.0, reading_mmHg=80.0, limited=True)
    assert oscillation_step(Oscillation(), OscillationState(9.0, 9.0, True), seen) == OscillationState(7.0, 0.0, False)
    assert saturation_step(Saturation(), SaturationState(0.9, True), seen) == SaturationState(0.0, False)
    assert no_pulse_step(NoPulse(), PulseState(9.0, -1.0, 9, True), seen) == PulseState(80.0, 1.0, 0, False)


def test_what_is_just_at_its_limit_is_allowed():
    """Numbers that are exact: a mean square of 4 stays 4 and is 2 mmHg; a share of a half stays a half."""
    loud = Oscillation(above_Hz=1e-30, limit_mmHg=2.0)
    for error, fires in ((2.0, False), (2.01, True)):
        state = OscillationState(0.0, error * error, False)
        assert oscillation_step(loud, state, QUIET._replace(error_mmHg=error)).fires == fires
    for share, fires in ((1.0, False), (0.99, True)):
        state = SaturationState(1.0, False)
        assert saturation_step(Saturation(share=share), state, QUIET._replace(limited=True)).fires == fires
    for step, fires in ((4.0, 0.0), (4.5, 1.0)):  # a turn is more than the least pulse
        state = no_pulse_step(NoPulse(), PulseState(90.0, 1.0, 1.0, False), QUIET._replace(reading_mmHg=90.0 - step))
        assert state.direction == 1.0 - 2.0 * fires
