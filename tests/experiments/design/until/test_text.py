"""Words for how far a number can go."""
import math

from experiments.design.until.study import Edge, Number, Room, Until
from experiments.design.until.text import until_json, until_lines

NUMBER = Number("tube.length_m", "m", "length", 0.05, 0.01, 10.0, False)
NOW = Room(0.05, {"stability": 0.5, "gain_margin_dB.min": 0.1}, {"gain_margin_dB": 6.6})
LIMITS = {"gain_margin_dB.min": ("min", 6.0)}


def said(below, above):
    return until_lines(Until(NUMBER, NOW, below, above, (NOW,), LIMITS))


def test_each_way_says_where_it_ends_and_why():
    lines = said(Edge(0.01, "", math.nan, False), Edge(0.2, "gain_margin_dB.min", 5.9999, False))
    assert lines == [
        "tube.length_m = 0.05 m (length), allowed 0.01 … 10 m", "nearest limit now: gain margin ≥ 6 dB, found 6.6",
        "down to 0.01 m, as far as is allowed, and no limit breaks",
        "up   to 0.2 m (× 4), where gain margin ≥ 6 dB breaks"]
    assert "where no rig can be had: no clamp" in said(Edge(0.02, "no clamp", math.nan, True), Edge(
        10.0, "stability", math.nan, False))[2]


def test_broken_already():
    assert said(None, None)[1:] == ["BROKEN already: gain margin ≥ 6 dB, found 6.6"]
    assert until_json(Until(NUMBER, NOW, None, None, (NOW,), LIMITS))["down"] is None
