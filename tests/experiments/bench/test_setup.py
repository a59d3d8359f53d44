"""What a bench is started with."""
import numpy as np

from experiments.bench.setup import (
    limits,
    pressures,
    record_words,
    source,
    usual_setup,
    whole_record,
    window,
)
from tests.experiments.bench.helper import SETUP


def test_the_named_rig_comes_first_and_the_built_in_ones_follow():
    assert usual_setup("cabinet").rigs == ("cabinet", "wrist")
    assert usual_setup().rigs == ("wrist", "cabinet")
    assert record_words(SETUP) == "synthetic"


def test_window_is_the_beginning_of_the_whole_record():
    whole, part = whole_record(SETUP, 0.001), window(SETUP, 0.001, 5.0)
    assert len(part.pressure_mmHg) == 5001 and len(whole.pressure_mmHg) == 16001
    assert np.array_equal(part.pressure_mmHg, whole.pressure_mmHg[:5001])
    assert window(SETUP, 0.001, 30.0).duration_s == 16.0


def test_settings_of_the_command_go_on_the_first_rig_only():
    setup = SETUP._replace(settings=("controller.kp=0.02",))
    assert source(setup, "wrist").tables["controller"]["kp"] == 0.02
    assert source(setup, "cabinet").tables["controller"]["kp"] != 0.02


def test_margins_are_judged_at_the_pressures_of_the_whole_record():
    found = pressures(SETUP, 0.001)
    assert list(found) == ["mean", "low", "high"] and found["low"] < found["mean"] < found["high"]
    assert "modulus_margin" in limits(SETUP, "wrist")
