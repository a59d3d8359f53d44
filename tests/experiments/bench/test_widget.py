"""The bench from Python: what is turned can be read and set."""
import pytest

import cuffloop
from experiments.bench.widget import made
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.bench.helper import SETUP


def test_settings_are_a_rig():
    rig = made(SETUP, "wrist", {"controller.kp": 0.02, "valve.kind": "pressure", "actuator.kind": "direct"})
    assert rig.controller.kp == 0.02 and type(rig.plant.valve).__name__ == "PressureValve"
    assert rig.given[0] == "wrist"  # a study can load it anew
    with pytest.raises(InputError):
        made(SETUP, "wrist", {"valve.kind": "x.py:X"})


def test_a_widget_shows_a_rig_with_its_settings():
    pytest.importorskip("anywidget", reason="anywidget is not installed")
    shown = cuffloop.bench(load_rig("wrist", ["tube.length_m=0.3"]), record="synthetic", seconds=16)
    shown.settings = {"controller.kp": 0.02}
    rig = shown.made()
    assert rig.controller.kp == 0.02 and rig.plant.tube.length_m == 0.3 and shown.rig == "wrist"
    with pytest.raises(InputError):
        cuffloop.bench("nothing")
    shown.close()
