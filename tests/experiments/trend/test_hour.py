import numpy as np
import pytest

from calibrate.schedule.names import SCHEDULES
from experiments.trend.hour import places, run_hour, tell
from plant.errors import InputError
from tests.experiments.trend.one_study import wanted


def test_a_foot_belongs_to_the_heartbeat_before_it():
    opening = np.array([0.0, 0.8, 1.6])
    assert places(opening, np.array([-0.1, 0.15, 0.7, 0.95, 1.8])).tolist() == [-1, 0, -1, 1, 2]


def test_every_beat_that_is_read_has_its_truth():
    asked = wanted("quiet", 90.0)
    told = tell(asked)
    hour = run_hour(asked, told, SCHEDULES["steady"])
    assert hour.found is not None and hour.ended == "in time" and hour.looks == 0
    assert len(hour.shown_s) == 1 and 10.0 < hour.shown_s[0, 0] < 25.0
    good = hour.found.beats.counts & (hour.beat >= 0)
    assert np.mean(good) > 0.95 and np.all(np.diff(hour.beat[good]) == 1)
    error = (hour.found.arm_mmHg - told.arm_mmHg[hour.beat])[good]
    assert np.all(np.abs(np.nanmean(error, axis=0)) < 8.0) and np.all(np.nanstd(error, axis=0) < 2.0)
    interval = np.diff(told.opening_s)[hour.beat[good]]
    assert hour.found.beats.interval_s[good] == pytest.approx(interval, abs=0.03)


def test_too_short_a_run_is_read_as_nothing():
    asked = wanted("quiet", 30.0)
    assert run_hour(asked, tell(asked), SCHEDULES["never"]).found is None


def test_a_sudden_story_is_refused():
    with pytest.raises(InputError, match="happens within seconds"):
        tell(wanted("cough"))
