"""A map's points are what turning both knobs would show."""
import itertools
import math

import pytest

from experiments.bench.answers.kernel import load
from experiments.bench.answers.map import CHUNK, FINEST, axis_of, order, point, swept
from experiments.bench.answers.turned import ready_of
from experiments.bench.asked import Refused
from experiments.bench.setup import pressures
from experiments.check.judged import judge_loops
from experiments.rigs.rig import load_rig
from tests.experiments.bench.helper import SETUP, asked

RANGE = {"x": "controller.kp", "x_low": 0.005, "x_high": 0.3, "y": "tube.length_m", "y_low": 0.02, "y_high": 0.1}


def test_every_point_comes_once_and_the_coarse_grid_first():
    found = list(order())
    assert len({(i, j) for _, i, j in found}) == len(found) == FINEST**2
    strides = [stride for stride, _, _ in found]
    assert strides == sorted(strides, reverse=True) and all(i % s == 0 and j % s == 0 for s, i, j in found)


def test_a_point_is_the_loop_with_both_knobs_turned():
    load(ready_of(asked()))
    margin, error = point(asked(), {"controller.kp": 0.02, "tube.length_m": 0.06})
    loops = judge_loops(load_rig("wrist", ["controller.kp=0.02", "tube.length_m=0.06"]),
                        {"mean": pressures(SETUP, 0.001)["mean"]})
    assert margin == min(j.margins.modulus_margin for j in loops) and 0.1 < error < 3.0
    unstable, none = point(asked(), {"controller.kp": 0.3, "tube.length_m": 0.06})
    assert unstable < 0.0 and math.isnan(none)
    assert all(map(math.isnan, point(asked(), {"controller.kp": 1e9})))


def test_it_fills_in_some_points_at_a_time():
    first, second = itertools.islice(swept(asked(options=RANGE)), 2)
    assert len(first.head["points"]) == len(second.head["points"]) == CHUNK and first.head["of"] == FINEST**2
    assert first.head["x"]["key"] == "controller.kp" and len(first.head["x"]["values"]) == FINEST


def test_axes_run_in_equal_ratios_where_they_span_a_decade():
    values = axis_of(asked(options=RANGE), "x").values
    assert values[0] == 0.005 and values[-1] == 0.3 and values[8] == pytest.approx(math.sqrt(0.005 * 0.3), rel=1e-3)


@pytest.mark.parametrize("change", [
    {"x": "valve.kind"}, {"x": "nothing.here"}, {"x": ["controller.kp"]}, {"x_low": -1.0}, {"x_high": float("nan")},
    {"x_high": True}, {"x_low": 0.3, "x_high": 0.005}, {"y": "controller.kp", "y_low": 0.01, "y_high": 0.02},
], ids=str)
def test_what_is_no_range_of_a_knob_is_refused(change):
    with pytest.raises(Refused):
        next(swept(asked(options=RANGE | change)))
