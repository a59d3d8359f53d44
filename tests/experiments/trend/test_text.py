from experiments.trend.text import QUICK, signed, silent, trend_json, trend_lines
from tests.experiments.trend.one_study import one_study


def test_the_table_has_schedules_fingers_and_failures():
    lines = trend_lines(one_study()[0])
    body = "\n".join(lines)
    assert "quiet         every:20" in body and "two fingers in turn, every 60 min over 6 h" in body
    assert f"1 of 2 failures are warned of within {QUICK} beats" in body and "height wrong" in body
    assert "no clinical use" in body and "valve stuck open" not in body
    assert max(map(len, lines)) < 150


def test_a_change_that_is_none_has_no_sign():
    assert [signed(v) for v in (0.01, -0.04, 2.34, -7.0, float("nan"))] == ["0", "0", "+2.3", "-7.0", "–"]


def test_failures_that_reach_a_reading_come_worst_first():
    assert [one.name for one in silent(one_study()[0].harms)] == ["height_wrong"]


def test_plain_data_leaves_out_courses():
    told = trend_json(one_study()[0])
    assert set(told["rows"][0]) >= {"availability", "variation_percent"} and "course" not in told["rows"][0]
    assert [way["way"] for way in told["turns"]["ways"]] == ["as read", "joined", "step learned"]
    assert told["failures"][1]["name"] == "height_wrong"
