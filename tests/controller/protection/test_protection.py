"""The whole protection: which fallback state follows from what, and how it is left."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.protection import (
    DETECTORS,
    FALLBACKS,
    HOLD,
    NORMAL,
    REACTIONS,
    RECALIBRATE,
    TRANSITIONS,
    VENTED,
    WARNING,
    Fallback,
    Protection,
    fallback_step,
    initial_protection,
    protection_step,
)
from controller.protection.watched import Slow
from tests.controller.protection.detector_bench import QUIET

STATES = range(len(FALLBACKS))


def after(wanted, state=NORMAL, ticks=1, part=Fallback(), start=None):  # noqa: B008
    """Protection state after detectors wanted something for some ticks."""
    now = start or initial_protection()._replace(fallback=state)
    for k in range(ticks):
        fallback, since, quiet, holds, hold = fallback_step(part, now, wanted(k) if callable(wanted) else wanted, 0.001)
        now = now._replace(fallback=fallback, since_ticks=since, quiet_ticks=quiet, holds=holds, hold_mmHg=hold)
    return now


@given(st.sampled_from(STATES), st.sampled_from(STATES))
def test_a_worse_state_is_taken_at_once_and_a_better_one_never(state, wanted):
    assert after(wanted, state).fallback == max(state, wanted)


@given(st.lists(st.sampled_from(STATES), min_size=1, max_size=300))
@settings(max_examples=30, deadline=None)
def test_vented_is_for_ever(wishes):
    assert after(lambda k: wishes[k], VENTED, len(wishes)).fallback == VENTED


@pytest.mark.parametrize("state", [WARNING, HOLD])
def test_a_warning_and_a_hold_end_when_all_is_quiet(state):
    assert after(NORMAL, state, 1990).fallback == state
    assert after(NORMAL, state, 2010).fallback == NORMAL


@pytest.mark.parametrize("state", [HOLD, RECALIBRATE])
def test_nobody_waits_for_ever(state):
    assert after(state, state, 9_900).fallback == state
    assert after(state, state, 10_100).fallback == VENTED


def test_one_hold_too_many_vents():
    def now_and_then(k):
        return HOLD if k % 3000 == 0 else NORMAL

    assert after(now_and_then, ticks=8_990).fallback == NORMAL
    assert after(now_and_then, ticks=9_010).fallback == VENTED


def test_every_drawn_transition_can_happen_and_no_other():
    """A step from every state with every wish, young and old, finds exactly what is drawn (HOLD ↔ others included)."""
    found = set()
    for state in STATES:
        for wanted in STATES:
            for since, quiet, holds in ((0, 0, 0), (20_000, 5000, 0), (0, 5000, 0), (0, 0, 9)):
                start = initial_protection()._replace(fallback=state, since_ticks=since, quiet_ticks=quiet, holds=holds)
                to = after(wanted, start=start).fallback
                if to != state:
                    found.add((state, to))
    drawn = {(a, b) for a, b, _ in TRANSITIONS}
    upwards = {(a, b) for a in STATES for b in STATES if a < b}
    assert drawn <= found and found - upwards <= drawn


def test_every_detector_has_its_reaction_and_its_bit():
    """Fire each alone, on a tick of the whole protection: the state is its reaction's, and the bit its own."""
    changes = {
        "pressure_limit": lambda k: {"reading_mmHg": 300.0, "second_mmHg": 300.0},
        "pressure_rate": lambda k: {"reading_mmHg": 90.0 + 12.0 * k, "second_mmHg": 90.0 + 12.0 * k},
        "exposure": lambda k: {"reading_mmHg": 279.0, "second_mmHg": 279.0},
        "redundancy": lambda k: {"second_mmHg": 120.0},
        "light_range": lambda k: {"light": 0.23 + 1e-4 * (k % 3), "error_mmHg": 0.0},
        "light_jump": lambda k: {"set_point": 0.305 + 0.01 * (k % 2)},
        "response": lambda k: {"error_mmHg": 20.0},
        "saturation": lambda k: {"limited": True},
        "oscillation": lambda k: {"error_mmHg": 20.0 if k % 20 < 10 else -20.0},
        "no_pulse": lambda k: {},
        "deadlines": lambda k: {"missed": 1.0},
        "supply_range": lambda k: {"supply_mmHg": 100.0},
        "settings_check": lambda k: {"settings": 2},
        "sequence": lambda k: {"searched": False},
        "emitter_monitor": lambda k: {"emitter": 0.9},
        "converter_test": lambda k: {"converter_error": 0.1},
        "following": lambda k: {"error_mmHg": 5.0 * math.sin(0.02 * k)},
        "air_use": lambda k: {"pump_mL_s": 5.0},
        "confirmation": lambda k: {"denied": True},
    }
    assert set(changes) == set(DETECTORS)
    # exposure's limit low enough and the supply's band set, as a rig's is
    part = Protection()
    part = part._replace(exposure=part.exposure._replace(limit_mmHg_s=20.0),
                         supply_range=part.supply_range._replace(lowest_mmHg=500.0, highest_mmHg=700.0),
                         settings_check=part.settings_check._replace(expected=1),
                         following=part.following._replace(share=0.3),
                         air_use=part.air_use._replace(cuff_mL_mmHg=0.003, reservoir_mL_mmHg=0.2, bleed_mL_s=1.0))
    for i, name in enumerate(DETECTORS):
        state = initial_protection()
        first = QUIET._replace(**{"light": 0.3, **changes[name](0)})
        state = state._replace(
            sequence=state.sequence._replace(filled_ticks=10_000), air_use=state.air_use._replace(
                pump_mL_s=1.0, supply_mmHg=600.0, explained_mL_s=1.0, reading_mmHg=90.0, demand=0.0),
            emitter_monitor=state.emitter_monitor._replace(level=1.0, start=1.0),
            following=state.following._replace(mean_mmHg=90.0),
            pressure_rate=state.pressure_rate._replace(reading_mmHg=first.reading_mmHg),
            light_jump=state.light_jump._replace(set_point=first.set_point, first=first.light, second=first.light,
                                               third=first.light, fourth=first.light, fifth=first.light))
        for k in range(6000):
            beat = 0.0 if name == "no_pulse" else 10.0 * abs((k % 1000) / 500.0 - 1.0)
            alive = {"reading_mmHg": 90.0 + beat}
            alive["second_mmHg"] = alive["reading_mmHg"]
            alive["light"] = 0.3 + 1e-4 * (k % 3)
            state = protection_step(part, state, QUIET._replace(**{**alive, **changes[name](k)}))
            if state.fired:
                break
        assert state.fired == 1 << i, f"{name}: {state.fired}"
        assert state.fallback == REACTIONS[name], name


def test_a_trip_of_the_hardware_is_read_back():
    state = protection_step(Protection(), initial_protection(), QUIET._replace(tripped=True, clamped_ticks=0))
    assert state.fallback == VENTED and state.fired == 0


@given(st.floats(20.0, 200.0))
@settings(max_examples=10, deadline=None)
def test_the_pressure_to_hold_is_the_mean_of_before_or_less(mean):
    state = initial_protection()._replace(mean_mmHg=Slow(mean, 0.0))
    state = protection_step(Protection(), state, QUIET._replace(reading_mmHg=mean, second_mmHg=mean,
                                                                          clamped_ticks=0))
    assert state.hold_mmHg == pytest.approx(min(mean, 80.0))


def numbers(part):
    """Every number of nested tuples."""
    for value in part:
        if isinstance(value, tuple):
            yield from numbers(value)
        else:
            yield float(value)


def test_before_the_first_tick_nothing_was_seen():
    """All is zero but what says 'none yet' (the last sample of light, the emitter's level) or points up (the pulse)."""
    start = initial_protection()
    assert (start.light_range.light, start.emitter_monitor.level, start.no_pulse.direction) == (-1.0, -1.0, 1.0)
    rest = start._replace(light_range=start.light_range._replace(light=0.0), no_pulse=(),
                          emitter_monitor=start.emitter_monitor._replace(level=0.0))
    assert set(numbers(rest)) == {0.0} and start.fallback == NORMAL
