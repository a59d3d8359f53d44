"""A rig on many fingers in words."""
import math

import numpy as np

from experiments.design.population.study import column, kept
from experiments.design.population.text import broken, moved, population_json, population_lines
from tests.experiments.design.population.opened import judged


def test_a_row_a_limit_and_the_rig_as_it_is_beside():
    found = judged()
    lines = population_lines(found)
    text = "\n".join(lines)
    assert "open on 5 fingers (mixed)" in lines[0] and "drawn within [spread]: 2 numbers;" in lines[1]
    assert sum(line.startswith("  phase_margin_deg ≥ 45 °") for line in lines) == 1
    assert f"kept on {int(np.sum(kept(found, found.judged)))} of 5 fingers" in text and "rig as it is" in text
    assert lines[-3] == ("PASS" if found.passed else "FAIL") and "medical device" in lines[-1]
    plain = population_lines(judged(False))
    assert "drawn" not in "\n".join(plain) and "rig as it is" not in "\n".join(plain)


def test_what_a_finger_breaks():
    found = judged()
    values = found.judged.copy()
    values[0, list(found.figures).index("phase_margin_deg")] = 40.0
    values[1, list(found.figures).index("stable")] = 0.0
    low = found._replace(drawn=values, reasons=("", "", "no light", "", ""))
    assert broken(low, 0).startswith("phase margin 40") and broken(low, 1) == "unstable"
    assert broken(low, 2) == "no light"


def test_how_far_what_is_left_open_moves_a_figure():
    found = judged()
    change = column(found, found.drawn, "phase_margin_deg") - column(found, found.as_found, "phase_margin_deg")
    assert moved(found, "phase_margin_deg") == np.sqrt(np.mean(change**2)) > 0.2
    assert math.isnan(moved(judged(False), "phase_margin_deg"))


def test_as_plain_data():
    document = population_json(judged())
    assert document["spread"] == {"valve.natural_frequency_Hz": 60.0, "timing.dead_time_s": 2e-4}
    assert not document["joint"] and len(document["by_finger"]) == 5 and document["fingers"] == 5
    one = document["limits"][0]
    assert one["figure"] == "phase_margin_deg" and one["low"] == 45.0 and one["kept_by"] >= document["kept_by"]
