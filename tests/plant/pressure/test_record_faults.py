"""Faults put into a made-up pressure are found where they were put, and clean pressures have none."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.pressure import record_faults as faults
from plant.pressure.synthetic import SyntheticPressure, synthesise

STEP_s = 0.008


def pulse(rate_per_min=75.0, seconds=60.0, seed=1, systolic=120.0, diastolic=75.0):
    """A pressure at 125 Hz."""
    params = SyntheticPressure()._replace(rate_per_min=rate_per_min, systolic_mmHg=systolic, diastolic_mmHg=diastolic)
    return synthesise(params, STEP_s, seconds, seed).pressure_mmHg.copy()


def between(values, start_s, end_s):
    return slice(round(start_s / STEP_s), round(end_s / STEP_s))


def covers(found, kind, start_s, end_s, slack_s=0.3):
    """Whether exactly one stretch of this kind lies where the fault was put."""
    (only,) = [f for f in found if f.kind == kind]
    assert only.first * STEP_s == pytest.approx(start_s, abs=slack_s)
    assert only.last * STEP_s == pytest.approx(end_s, abs=slack_s)
    return only


@given(st.floats(45, 150), st.floats(25, 80), st.integers(0, 100))
@settings(max_examples=15, deadline=None)
def test_a_clean_pressure_has_no_faults(rate, size, seed):
    values = pulse(rate, 40.0, seed, 75.0 + size)
    known = faults.usual(values, STEP_s)
    nothing = np.zeros(len(values), bool)
    assert faults.levels(values, known, STEP_s) == []
    assert faults.frozen(values, STEP_s) == [] and faults.clipped(values, STEP_s) == []
    assert faults.collapsed(known, nothing, STEP_s) == []
    assert faults.shaken(values, known, nothing, STEP_s) == []
    assert faults.steps(known, values, nothing, STEP_s) == []


@pytest.mark.parametrize(("level", "kind"), [(285.0, "flush"), (2.0, "open to air"), (-40.0, "pressure lost")])
def test_levels_are_named_for_what_they_are(level, kind):
    values = pulse()
    values[between(values, 20.0, 23.0)] = level
    found = faults.levels(values, faults.usual(values, STEP_s), STEP_s)
    assert covers(found, kind, 20.0, 23.0).mmHg == level and len(found) == 1


def test_a_frozen_stretch_and_not_a_quantised_one():
    values = np.round(pulse())
    assert faults.frozen(values, STEP_s) == []
    values[between(values, 30.0, 33.0)] = values[round(30.0 / STEP_s)]
    covers(faults.frozen(values, STEP_s), "frozen", 30.0, 33.0, 0.05)


def test_clipped_tops_and_bottoms_but_no_rounded_peaks():
    values = np.round(pulse())
    assert faults.clipped(values, STEP_s) == []
    top = np.minimum(values, np.percentile(values, 85))
    found = faults.clipped(top, STEP_s)
    assert {f.mmHg for f in found} == {top.max()} and len(found) > 70  # of 75 beats
    bottom = np.maximum(pulse(), np.percentile(pulse(), 15))
    assert {f.mmHg for f in faults.clipped(bottom, STEP_s)} == {bottom.min()}


def test_resolution_is_the_smallest_step():
    assert faults.resolution(np.round(pulse() * 16.0) / 16.0) == pytest.approx(1.0 / 16.0)
    assert faults.resolution(np.full(100, 80.0)) == 0.0


def test_a_pulse_that_dies_away():
    values = pulse()
    mean = values.mean()
    fading = np.where(np.arange(len(values)) * STEP_s < 40.0, 1.0, 0.08)
    values = mean + (values - mean) * fading
    found = faults.collapsed(faults.usual(values, STEP_s), np.zeros(len(values), bool), STEP_s)
    assert covers(found, "pulse collapse", 40.5, 60.0, 1.0).mmHg < 8.0


def test_a_knocked_line_rings_and_a_spike_is_seen():
    values = pulse()
    time = np.arange(len(values)) * STEP_s
    ringing = values + 15.0 * np.sin(2 * np.pi * 14.0 * time) * ((time > 30.0) & (time < 32.0))
    known = faults.usual(ringing, STEP_s)
    covers(faults.shaken(ringing, known, np.zeros(len(values), bool), STEP_s), "shaken", 29.7, 32.3, 0.6)
    values[round(10.0 / STEP_s)] += 120.0
    known = faults.usual(values, STEP_s)
    covers(faults.shaken(values, known, np.zeros(len(values), bool), STEP_s), "shaken", 9.4, 10.6, 0.2)


@pytest.mark.parametrize("size", [-30.0, 30.0])
def test_a_step_has_its_time_and_sign(size):
    values = pulse()
    values[round(25.0 / STEP_s) :] += size
    found = faults.steps(faults.usual(values, STEP_s), values, np.zeros(len(values), bool), STEP_s)
    assert covers(found, "step", 25.0, 25.0, 0.5).mmHg == pytest.approx(size, abs=8.0)


def test_a_slow_fall_is_no_step():
    values = pulse() - np.clip(np.arange(7501) * STEP_s - 20.0, 0.0, 10.0) * 3.0  # 3 mmHg/s
    assert faults.steps(faults.usual(values, STEP_s), values, np.zeros(len(values), bool), STEP_s) == []


def test_runs_are_inclusive():
    assert faults.runs(np.array([1, 1, 0, 1, 0, 1, 1, 1], bool), 2) == [(0, 1), (5, 7)]
    assert faults.runs(np.zeros(3, bool)) == []
