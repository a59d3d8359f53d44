"""How far a number can go."""
import math

import pytest

from experiments.check.judged import judge_loops, margin_figures, over_slope_error
from experiments.design.until.pictures import until_figure
from experiments.design.until.study import STABILITY, number_of, until
from experiments.design.until.text import until_json, until_lines
from experiments.rigs.rig import load_rig, read_rig
from experiments.rigs.slope_error import usual_slope_error
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

LIMITS = {"phase_margin_deg": {"min": 40.0}, "gain_margin_dB": {"min": 6.0}, "rms_error_mmHg": {"max": 1.0}}
HERE = {"90 mmHg": 90.0}


@pytest.fixture(scope="module")
def trace():
    return synthesise(SyntheticPressure(), 1e-3, 12.0, 1)


@pytest.fixture(scope="module")
def gain(trace):
    return until(read_rig("wrist"), "controller.kp", LIMITS, HERE, trace)


def figure_at(value, name):
    rig = load_rig("wrist", [f"controller.kp={value!r}"])
    return margin_figures(over_slope_error(judge_loops(rig, HERE), rig, 90.0, usual_slope_error(rig)))[name]


def test_the_limit_named_is_met_at_the_value_found(gain):
    """By the loops themselves, made anew at that value: the gain margin at one end, the phase margin at the other."""
    assert gain.above.breaks == "gain_margin_dB.min"
    assert figure_at(gain.above.value, "gain_margin_dB") == pytest.approx(6.0, abs=0.02)
    assert gain.below.breaks == "phase_margin_deg.min"
    assert figure_at(gain.below.value, "phase_margin_deg") == pytest.approx(40.0, abs=0.05)
    assert gain.below.value < gain.number.present < gain.above.value


def test_the_gain_s_way_up_is_its_gain_margin(gain):
    """Without any search: the factor is what the gain margin is above its limit."""
    room_dB = gain.present.figures["gain_margin_dB"] - 6.0
    assert gain.above.value / gain.number.present == pytest.approx(10 ** (room_dB / 20), rel=2e-3)


def test_limits_that_only_a_run_can_tell_do_not_count(gain):
    assert set(gain.present.rooms) == {STABILITY, "phase_margin_deg.min", "gain_margin_dB.min"}


def test_what_breaks_nothing_goes_to_the_end_of_what_is_allowed(trace):
    found = until(read_rig("wrist"), "timing.dead_time_s", {"gain_margin_dB": {"min": 6.0}}, HERE, trace)
    assert (found.below.value, found.below.breaks) == (0.0, "") and found.above.value > 0.001
    assert "no limit breaks" in "\n".join(until_lines(found))


def test_where_no_rig_can_be_had_is_told(trace):
    found = until(read_rig("wrist"), "supply.pressure_mmHg", {"gain_margin_dB": {"min": 3.0}}, {"there": 120.0}, trace)
    assert found.below.cannot and "mmHg" in found.below.breaks
    assert "where no rig can be had" in "\n".join(until_lines(found))


def test_a_limit_that_is_broken_already(trace):
    found = until(read_rig("wrist"), "controller.kp", {"phase_margin_deg": {"min": 89.0}}, HERE, trace)
    assert found.below is None and found.above is None
    assert "BROKEN already: phase margin ≥ 89 °" in until_lines(found)[1]
    assert until_json(found)["up"] is None


def test_whole_numbers_go_in_whole_steps(trace):
    found = until(read_rig("wrist"), "light.bits", {"command_noise_rms": {"max": 0.05}}, HERE, trace)
    assert found.number.whole and found.below.breaks == "command_noise_rms.max" and found.below.value.is_integer()


def test_a_finger_s_number(trace):
    found = until(read_rig("wrist"), "finger.artery.half_width_mmHg", {"gain_margin_dB": {"min": 3.0}}, HERE, trace)
    assert found.number.present == load_rig("wrist").plant.artery.half_width_mmHg and len(found.tried) > 3


@pytest.mark.parametrize(("name", "says"), [
    ("length", "--until length: write TABLE.KEY"), ("tube.foo", "--until tube.foo: not a number of this rig"),
    ("tub.length_m", "tub is not a table of a rig"), ("tube.kind", "--until tube.kind: not a number"),
    ("controller.method", "is no number that can be moved"), ("transducer.at_valve_end", "is no number"),
    ("finger.pressure.rate_per_min", "not a number of this rig"),
])
def test_what_is_no_number_is_refused_in_one_line(name, says):
    with pytest.raises(InputError) as refusal:
        number_of(read_rig("wrist"), name)
    assert says in str(refusal.value) and "\n" not in str(refusal.value)


def test_the_picture_has_every_limit(gain):
    axes = until_figure(gain, "wrist").axes[0]
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert {"phase margin ≥ 40 °", "gain margin ≥ 6 dB"} <= set(labels)
    assert axes.get_xlabel() == "controller.kp (1/mmHg)"


def test_json_is_plain(gain):
    found = until_json(gain)
    assert found["up"]["breaks"] == "gain_margin_dB.min" and found["limits"]["gain_margin_dB.min"] == ["min", 6.0]
    assert all(math.isfinite(t["room"]) for t in found["tried"])
