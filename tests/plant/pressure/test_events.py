import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.declare import declared
from plant.errors import InputError
from plant.pressure.events import HandRaised, Hypertension, Hypotension, LossOfPulse, apply
from plant.pressure.synthetic import STEADY, synthesise
from plant.units import hydrostatic_mmHg

TRACE = synthesise(STEADY, 1e-3, 60.0, 1)
TIME = np.arange(60_001) * 1e-3
EVENTS = [Hypotension(), Hypertension(), LossOfPulse(hold_s=10.0), HandRaised(hold_s=10.0)]


def between(pressure, start, end):
    return pressure[(start <= TIME) & (end >= TIME)]


@pytest.mark.parametrize("event", EVENTS)
def test_nothing_happens_before_and_all_is_as_it_was_after(event):
    before = TRACE.pressure_mmHg.copy()
    changed = apply(TRACE, event)
    assert np.array_equal(TRACE.pressure_mmHg, before)
    assert np.array_equal(changed.pressure_mmHg[:10_001], before[:10_001])
    assert changed.pressure_mmHg[-5000:] == pytest.approx(before[-5000:], abs=1e-9)
    assert not np.allclose(changed.pressure_mmHg, before)
    assert np.array_equal(changed.usable, TRACE.usable) and changed.period_s == TRACE.period_s
    assert type(event).__name__ in changed.name and type(event).__name__ in changed.source


@pytest.mark.parametrize("event", EVENTS)
def test_no_jumps(event):
    changed = apply(TRACE, event).pressure_mmHg
    assert np.max(np.abs(np.diff(changed))) < 1.6 * np.max(np.abs(np.diff(TRACE.pressure_mmHg)))


@pytest.mark.parametrize("event_class", [Hypotension, Hypertension, LossOfPulse, HandRaised])
def test_every_parameter_is_declared(event_class):
    assert all(p.unit and p.meaning and p.source for p in declared(event_class))


@given(st.floats(30, 85))
@settings(max_examples=15, deadline=None)
def test_hypotension_reaches_its_mean_and_keeps_the_shape(level):
    changed = apply(TRACE, Hypotension(level)).pressure_mmHg
    held = between(changed, 20.0, 30.0)
    ratio = level / np.mean(TRACE.pressure_mmHg)
    assert np.mean(held) == pytest.approx(level, rel=0.02)
    assert held == pytest.approx(ratio * between(TRACE.pressure_mmHg, 20.0, 30.0))


def test_hypertension_rises_to_its_mean():
    changed = apply(TRACE, Hypertension(150.0, hold_s=0.0)).pressure_mmHg
    assert np.mean(between(changed, 25.0, 60.0)) == pytest.approx(150.0, rel=0.02)  # a hold of 0 lasts to the end


def test_pulse_is_lost_and_pressure_runs_off_as_an_exponential():
    event = LossOfPulse(start_s=10.0, fade_s=1.0, floor_mmHg=20.0, run_off_s=3.0)
    changed = apply(TRACE, event).pressure_mmHg
    rest = between(changed, 11.0, 60.0)
    assert np.all(np.diff(rest) <= 0.0) and rest[-1] == pytest.approx(20.0, abs=0.01)
    ratio = (changed[14_000] - 20.0) / (changed[11_000] - 20.0)
    assert ratio == pytest.approx(np.exp(-1.0), rel=1e-6)


def test_pulse_comes_back():
    changed = apply(TRACE, LossOfPulse(hold_s=20.0, return_s=3.0)).pressure_mmHg
    assert np.ptp(between(changed, 28.0, 31.0)) < 1.0 and np.ptp(between(changed, 36.0, 38.0)) > 44.0


@given(st.floats(-0.9, 0.9), st.floats(0.02, 1.0))
@settings(max_examples=20, deadline=None)
def test_hand_raised_shifts_by_the_column_and_nothing_else(height, speed):
    changed = apply(TRACE, HandRaised(height, 10.0, speed))
    shift = changed.pressure_mmHg - TRACE.pressure_mmHg
    reached = 10.0 + abs(height) / speed
    assert between(shift, reached + 0.01, 60.0) == pytest.approx(-hydrostatic_mmHg(height), abs=1e-9)
    halfway = between(shift, 10.0, reached)
    if len(halfway) > 50:
        assert np.mean(halfway) == pytest.approx(-0.5 * hydrostatic_mmHg(height), abs=0.02 * abs(hydrostatic_mmHg(1.0)))


def test_events_chain():
    both = apply(apply(TRACE, HandRaised(0.2, 5.0, 1.0)), HandRaised(-0.2, 20.0, 1.0))
    assert between(both.pressure_mmHg, 30.0, 60.0) == pytest.approx(between(TRACE.pressure_mmHg, 30.0, 60.0))
    assert both.name == "synthetic with HandRaised with HandRaised"


def test_an_event_from_the_first_tick_on():
    changed = apply(TRACE, LossOfPulse(start_s=0.0, fade_s=0.1)).pressure_mmHg
    assert changed[200] == pytest.approx(20 + (np.mean(TRACE.pressure_mmHg[:3000]) - 20) * np.exp(-0.2 / 3.0))


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (Hypotension(start_s=60.0), "start_s = 60 s must lie within the trace of 60 s"),
        (Hypotension(110.0), "must be below the trace's own mean"),
        (Hypertension(70.0), "must be above the trace's own mean"),
        (HandRaised(1.5), "height_m = 1.5 m"),
        (HandRaised(float("nan")), "height_m = nan"),
        (LossOfPulse(fade_s=0.0), "fade_s = 0 s"),
    ],
)
def test_absurd_events(event, told):
    with pytest.raises(InputError) as caught:
        apply(TRACE, event)
    assert told in str(caught.value) and "\n" not in str(caught.value)


def test_a_lost_pulse_runs_off_from_the_mean_just_before():
    """The level steps from 100 to 60 mmHg at 20 s: what runs off to 20 by e⁻¹ in a minute begins at 60, or at 100."""
    step = TRACE._replace(pressure_mmHg=np.where(TIME < 20.0, 100.0, 60.0))
    for start, level in ((40.0, 60.0), (19.0, 100.0)):
        changed = apply(step, LossOfPulse(start_s=start, fade_s=1.0, floor_mmHg=20.0, run_off_s=60.0)).pressure_mmHg
        since = 0.1 * np.arange(20, 60)
        expected = 20.0 + (level - 20.0) * np.exp(-since / 60.0)
        assert changed[np.rint((start + since) * 1000).astype(int)] == pytest.approx(expected, rel=1e-3)
