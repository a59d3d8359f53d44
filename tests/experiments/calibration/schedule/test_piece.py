"""A finger under schedules: the same bits each time, every way of ending a value, failures by name."""
from typing import NamedTuple

import numpy as np
import pytest

from calibrate.protocol import FAILURES, Clamp, Failed, Hold, Vent
from calibrate.schedule import schedule as schedule_module
from calibrate.schedule.schedule import Entry, timed
from calibrate.schedule.schedules import GrowingBeats, Never
from calibrate.search.probing_search import ProbingSearch
from experiments.calibration.schedule.measures import METRIC
from experiments.calibration.schedule.piece import Task, failure_names, reason_of, run_task, story
from experiments.rigs.rig import load_rig
from experiments.simulation.instrument import instrument_of
from experiments.subjects.finger import NO_PULSE, on_finger
from experiments.subjects.population import sample_fingers, spoil
from plant.scenarios.scenario import scenario_inputs

NAN = float("nan")


class Fumbling(NamedTuple):
    """Clamps a little and then breaks."""

    def program(self, instrument, search, diary):
        """Half a second, then a mistake."""
        yield from timed(Vent(0.5), instrument, diary)
        raise ZeroDivisionError("a slip of the pen")


class Resigning(NamedTuple):
    """Gives up at once."""

    def program(self, instrument, search, diary):
        """Hold, then nothing."""
        yield from timed(Hold(50.0, 1.0), instrument, diary)
        return Failed("no pulse", "nothing at all")


class Nonsense(NamedTuple):
    """Asks for what is no request."""

    def program(self, instrument, search, diary):
        """A word."""
        yield "more"


class Fixed(NamedTuple):
    """Clamps for ever at one light, shown or not."""

    shown: bool = True

    def program(self, instrument, search, diary):
        """No search."""
        yield from timed(Hold(80.0, 2.0), instrument, diary)
        while True:
            yield from timed(Clamp(0.5, 0.003, 1.0, shown=self.shown), instrument, diary)


@pytest.fixture(scope="module")
def finger():
    return sample_fingers(1, "mixed", 1)[0]


@pytest.fixture(scope="module")
def task(wrist, finger):
    return Task(wrist, instrument_of(wrist), 2, ProbingSearch(), (Never(), GrowingBeats()), "standing", finger, 90.0)


@pytest.fixture(scope="module")
def runs(task):
    return run_task(task)


def figure(run, name):
    return float(run.figures[METRIC[name]])


def test_each_schedule_has_its_run(runs):
    never, growing = runs
    assert never.ended == growing.ended == "in time"
    assert figure(never, "interruptions") == 0.0 and figure(growing, "interruptions") >= 3.0
    assert figure(growing, "lost_share") > figure(never, "lost_share") > 0.1
    assert [e[1] for e in never.diary] == ["search"] and never.failures == {}
    assert figure(growing, "recalibrations") == sum(e[1] == "recalibration" for e in growing.diary) >= 3
    assert never.marks == growing.marks and never.marks[0][1] == "stands up"


def test_beats_tone_and_noise_are_the_same_for_all(runs):
    """Until the first of them interrupts, schedules run alike."""
    never, growing = (run.course for run in runs)
    np.testing.assert_array_equal(never[2], growing[2])
    np.testing.assert_array_equal(never[:2, :5], growing[:2, :5])
    assert never.shape == growing.shape == (3, 18) and never.dtype == np.float32


def test_the_same_seed_gives_the_same_bits(task, runs):
    """Together or alone."""
    again = [run_task(task._replace(schedules=(schedule,)))[0] for schedule in task.schedules[::-1]][::-1]
    for one, other in zip(runs, again, strict=True):
        np.testing.assert_array_equal(one.figures, other.figures)
        np.testing.assert_array_equal(one.course, other.course)
        assert repr(one.diary) == repr(other.diary)


def test_another_seed_gives_another_run(task, finger, runs):
    other = run_task(task._replace(schedules=(Never(),), finger=finger._replace(seed=finger.seed + 1)))[0]
    assert figure(other, "mean_rms_ideal") != figure(runs[0], "mean_rms_ideal")


def test_surroundings_are_the_scenario_in_single_precision(wrist, finger):
    rig = on_finger(wrist, finger)
    told = story(rig, finger, "light", 30.0)
    whole = scenario_inputs("light", finger.pressure, finger.tone, finger.light.ambient, 1e-3, 30.0, finger.seed)
    part = told.inputs.part(1000, 2000)
    assert all(v.dtype == np.float64 and len(v) == 1001 for v in part)
    for name in ("arterial_mmHg", "tone", "ambient"):
        np.testing.assert_allclose(getattr(part, name), getattr(whole, name)[1000:2001], rtol=1e-7, atol=1e-7)
    steady = story(rig, finger, "quiet", 5.0).inputs
    assert steady.ambient.strides == (0,) and set(steady.part(0, 9).ambient) == {np.float32(finger.light.ambient)}


@pytest.mark.parametrize(("schedule", "ended", "failures"), [
    (Fumbling(), "broke: ZeroDivisionError: a slip of the pen", {"broke": 1}),
    (Nonsense(), "broke: AttributeError: 'str' object has no attribute 'seconds'", {"broke": 1}),
    (Resigning(), "gave up: " + Failed("no pulse", "nothing at all").message, {"gave up": 1}),
    (Fixed(shown=False), "in time", {}),
])
def test_every_end_is_a_value(task, schedule, ended, failures):
    """A schedule of the user's own may break: time that is left without waveform is lost."""
    run = run_task(task._replace(schedules=(schedule,), seconds=20.0))[0]
    assert run.ended == ended and run.failures == failures
    assert figure(run, "lost_share") == 1.0 and figure(run, "beats") == 0.0
    assert figure(run, "seconds") == pytest.approx(20.0, abs=1.0)
    assert figure(run, "failures") == sum(failures.values())


def test_a_schedule_without_a_program_breaks_like_any_other(task):
    assert run_task(task._replace(schedules=(object(),), seconds=5.0))[0].ended.startswith("broke: AttributeError")


def test_a_run_that_diverges_says_when(finger):
    """The valve is too quick for one integration step a tick."""
    rig = load_rig("wrist", ["tube.length_m=0.3"])
    run = run_task(Task(rig, instrument_of(rig), 1, ProbingSearch(), (Fixed(),), "quiet", finger, 20.0))[0]
    assert run.ended.startswith("diverged: cuff pressure went to") and run.failures == {"diverged": 1}
    assert figure(run, "lost_share") == 1.0 and figure(run, "highest_cuff") > 50.0


def test_a_finger_without_a_pulse_is_a_named_failure(task, monkeypatch):
    """Searches that fail, here three; then the schedule gives up."""
    monkeypatch.setattr(schedule_module, "PATIENCE", 3)
    finger = sample_fingers(2, "mixed", 1)[1]
    run = run_task(task._replace(schedules=(Never(),), finger=spoil(finger, NO_PULSE), seconds=120.0))[0]
    assert run.ended.startswith("gave up: no pulsation") and run.failures["gave up"] == 1
    assert sum(run.failures.values()) == 4 and figure(run, "beats") == 0.0


def failed(reason):
    return Failed(reason, "figures").message


@pytest.mark.parametrize(("entries", "expected"), [
    ([("search", "start")], {}),
    ([("search", "start"), ("recalibration", "after 40 beats")], {}),
    ([("failed", failed("no pulse")), ("search", "start")], {"no pulse": 1}),
    ([("search", "start"), ("search", "no beats in the clamp")], {"no beats in the clamp": 1}),
    # a look that failed is why the next search was needed: once
    ([("search", "start"), ("failed", failed("light saturated")), ("search", failed("light saturated"))],
     {"light saturated": 1}),
    # a clamp that was lost without a line of its own
    ([("search", "start"), ("search", failed("clamp not held")), ("search", failed("clamp not held"))],
     {"clamp not held": 2}),
])
def test_failures_by_name(entries, expected):
    diary = [Entry(float(i), what, NAN, why) for i, (what, why) in enumerate(entries)]
    assert failure_names(diary, "in time") == expected
    assert failure_names(diary, "gave up: timed out") == expected | {"gave up": 1}


@pytest.mark.parametrize("reason", FAILURES)
def test_a_message_tells_its_reason(reason):
    assert reason_of(failed(reason)) == reason
    assert reason_of("no slope to be seen") == "no slope to be seen"
    assert reason_of("the vertex lies 14 mmHg away, the second harmonic is +0.014") == "the vertex lies"
    assert reason_of("a failure of my own (12.3 of 14): do something") == "a failure of my own"
