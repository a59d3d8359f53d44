from functools import lru_cache

import numpy as np
import pytest

from plant.circulation.person_name import named_person
from plant.errors import InputError
from plant.finger.tone import ToneDrive
from plant.scenarios.person_story import RECORD_s, person_story
from plant.units import hydrostatic_mmHg

WHO = named_person("person:45f,breath_volume=0,breath_interval=0,interval_sd=0")


REST = ToneDrive()


@lru_cache(maxsize=2)
def story(name, seconds=36.0, tone=REST):
    return person_story(name, WHO, tone, 0.02, 2e-3, seconds, 3)


def test_the_finger_gets_the_persons_pressure_and_the_same_again():
    one, two = story("cold"), story.__wrapped__("cold")
    assert np.array_equal(one.circulation.arterial_mmHg, two.circulation.arterial_mmHg)
    assert one.circulation.arterial_mmHg.shape == one.circulation.tone.shape == (18_001,)
    every = round(RECORD_s / 1e-3)
    assert one.circulation.arterial_mmHg[:: every][:3500] == pytest.approx(one.record.finger_mmHg[: 7000 : 2],
                                                                           abs=0.05)


def test_pressure_of_the_story_is_made_by_flow_and_resistance_alike():
    told = story("pressure", 120.0)
    low, rest = np.min(told.course.flow), told.course.flow[0]
    assert low < 0.9 * rest and told.course.flow == pytest.approx(told.course.resistance)
    strokes, at = told.record.beats.stroke_mL, told.record.beats.opening_s[:-1]
    assert np.min(strokes[(at > 30.0) & (at < 48.0)]) < 0.85 * np.max(strokes[(at > 0.0) & (at < 15.0)])
    mean = told.course.mean_mmHg(WHO.state)
    assert np.min(mean) == pytest.approx(WHO.state.mean_mmHg - 26.0, abs=6.0)


def test_tone_of_the_drive_is_that_of_finger_and_hand():
    rest, tight = story("quiet"), story("quiet", tone=ToneDrive(level=1.0))
    assert tight.circulation.tone == pytest.approx(rest.circulation.tone + 1.0)
    assert np.max(tight.record.finger_mmHg) > np.max(rest.record.finger_mmHg) + 0.5
    assert np.array_equal(tight.record.beats.stroke_mL, rest.record.beats.stroke_mL)


def test_a_raised_hand_changes_the_finger_only():
    told = story("hand", 120.0).circulation
    up = int(np.argmax(told.height_m))
    assert told.height_m[up] == pytest.approx(0.4)
    assert told.heart_mmHg[up] - told.arterial_mmHg[up] == pytest.approx(hydrostatic_mmHg(0.4))


def test_the_rhythm_is_disturbed_where_the_story_says_so():
    beats = story("irregular").record.beats
    interval, at = np.diff(beats.opening_s), beats.opening_s[:-1]
    assert np.std(interval[(at > 10.0) & (at < 26.0)]) > 0.1
    assert np.std(interval[(at > 0.0) & (at < 8.5)]) < 1e-9 > np.std(interval[(at > 29.5) & (at < 35.0)])


def test_a_sudden_story_is_refused():
    with pytest.raises(InputError, match="scenario cough: happens within seconds"):
        story("cough")
