"""Knobs follow from the declarations."""
import pytest

from experiments.bench.knobs import OPEN_AT_ONCE, WIDEST, featured, is_logarithmic, knobs_of, slider_reach
from experiments.rigs.rig import load_rig
from experiments.rigs.table import rig_parts
from plant.declare import declared


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_every_declared_number_is_a_knob_with_its_bounds(name):
    rig = load_rig(name)
    knobs = {knob.key: knob for knob in knobs_of(rig)}
    for table, part in rig_parts(rig).items():
        for parameter in declared(type(part)):
            if parameter.low is not None and parameter.low != parameter.high:
                knob = knobs[f"{table}.{parameter.name}"]
                assert (knob.low, knob.high, knob.meaning) == (parameter.low, parameter.high, parameter.meaning)
                assert knob.value == getattr(part, parameter.name)
                assert knob.slider_low <= knob.value <= knob.slider_high
    assert len(featured(list(knobs.values()))) == OPEN_AT_ONCE
    assert set(featured(list(knobs.values()))) <= set(knobs)


def test_label_is_the_name_in_words():
    labels = {knob.key: knob.label for knob in knobs_of(load_rig("wrist"))}
    assert labels["valve.natural_frequency_Hz"] == "valve · natural frequency"
    assert labels["cuff.volume_mL"] == "cuff · volume" and labels["controller.kp"] == "controller · kp"


def test_slider_reaches_a_factor_either_way_and_never_beyond_bounds():
    assert slider_reach(1.0, 0.001, 1000.0) == (1.0 / WIDEST, WIDEST)
    assert slider_reach(1.0, 0.9, 1.1) == (0.9, 1.1)
    assert slider_reach(0.0, -2.0, 3.0) == (-2.0, 3.0) and slider_reach(0.0, 0.0, 0.02) == (0.0, 0.02)
    assert slider_reach(0.02, 0.0, 100.0) == (0.02 / WIDEST, 0.02 * WIDEST)  # a gain: from zero over decades
    assert slider_reach(0.5, 0.0, 1.0) == (0.0, 1.0) and slider_reach(0.5, -1.0, 100.0) == (-1.0, 10.0)
    assert is_logarithmic(0.05, 20.0) and not is_logarithmic(0.0, 20.0) and not is_logarithmic(1.0, 2.0)


def test_kinds_come_first_and_are_built_in():
    knobs = knobs_of(load_rig("wrist"))
    kinds = {knob.key: knob.choices for knob in knobs if knob.key.endswith(".kind")}
    assert kinds["valve.kind"] == ("flow", "pressure")
    assert {knob.kind for knob in knobs} == {"number", "whole", "switch", "choice"}
