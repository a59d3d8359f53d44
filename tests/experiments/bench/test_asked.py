"""From the page only declared numbers and built-in kinds can be set."""
import pytest

from experiments.bench.asked import MOST_SETTINGS, Refused, asked_of, spoken
from plant.errors import InputError
from tests.experiments.bench.helper import SETUP, asked


def test_settings_reach_the_rig():
    rig = asked(settings={"controller.kp": 0.02, "tube.length_m": 1}).made()
    assert rig.controller.kp == 0.02 and rig.plant.tube.length_m == 1.0


def test_a_kind_goes_first_and_takes_its_own_keys():
    rig = asked(settings={"valve.range_mmHg": 250.0, "valve.kind": "pressure", "actuator.kind": "direct"}).made()
    assert type(rig.plant.valve).__name__ == "PressureValve" and rig.plant.valve.range_mmHg == 250.0


@pytest.mark.parametrize("settings", [
    {"valve.kind": "evil.py:Valve"}, {"tube.kind": "/tmp/x.py:X"}, {"controller.kind": "flow"}, {"nothing.kp": 1.0},
    {"name": "x"}, {"controller": {"kp": 1.0}}, {"controller.kp": [1.0]}, {"controller.kp": {"a": 1}},
    {"controller.kp": float("nan")}, {"controller.kp": float("inf")}, {"controller.__class__": 1.0, "a": 1},
    {"controller.method": "x.py:Y"}, {"controller.kp.more": 1.0},
    {f"controller.x{i}": 1.0 for i in range(MOST_SETTINGS + 1)},
], ids=lambda settings: str(next(iter(settings))))
def test_what_is_not_a_declared_number_or_a_built_in_kind_is_refused(settings):
    with pytest.raises(Refused) as line:
        asked(settings=settings)
    assert "\n" not in str(line.value) and len(str(line.value)) < 400


@pytest.mark.parametrize("message", [
    {"rig": "/etc/passwd"}, {"rig": 3}, {"settings": []}, {"window_s": 1e9}, {"window_s": "5"}, {"window_s": True},
    {"offset_mmHg": float("nan")}, {"volume_error": 2.0},
], ids=str)
def test_what_is_not_in_its_range_is_refused(message):
    with pytest.raises(Refused):
        asked(**message)


@pytest.mark.parametrize(("settings", "key", "words"), [
    ({"controller.kp": 1e9, "tube.length_m": 0.2}, "controller.kp", "must be a number from"),
    ({"controller.nothing": 1.0}, "controller.nothing", "is not a key of this part"),
    ({"controller.output_bits": 2.5}, "controller.output_bits", "must be a whole number"),
    ({"transducer.at_valve_end": 3.0}, "transducer.at_valve_end", "must be true or false"),
])
def test_a_bad_value_is_one_line_beside_its_knob(settings, key, words):
    with pytest.raises(Refused) as line:
        asked(settings=settings, moved="tube.length_m").made()
    assert line.value.key == key and words in str(line.value) and not str(line.value).startswith("wrist")


def test_what_is_at_odds_with_another_is_charged_to_the_knob_that_was_moved():
    with pytest.raises(Refused) as line:
        asked(settings={"light.dark_sample_s": 1.0}, moved="light.dark_sample_s").made()
    assert line.value.key == "light.dark_sample_s"
    assert asked(settings={}, moved="light.dark_sample_s").moved == ""


def test_the_name_of_the_rig_is_not_said_again():
    assert spoken(InputError("wrist: controller.kp = 3 must be")) == "controller.kp = 3 must be"
    assert spoken(InputError("controller.kp = 3: use one of")) == "controller.kp = 3: use one of"
    assert asked_of(SETUP, {}).rig == "wrist"
