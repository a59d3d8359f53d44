"""`cuffloop.trend` from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


@pytest.mark.slow
def test_the_result(tmp_path):
    result = cuffloop.trend("wrist", "person:60m", schedules=["steady"], scenarios=["quiet"], minutes=2)
    is_whole(result, {"hour_quiet", "turns"}, tmp_path / "out",
             {"trend.json", "hour_quiet.png", "turns.png", "trend.nc"})
    assert result.passed and result.study.harms == []


@pytest.mark.parametrize(("options", "words"), [
    ({"record": "pig"}, "record pig: readings over hours need a truth"), ({"minutes": 1}, "minutes 1 must be from 2"),
    ({"scenarios": "cough"}, "happens within seconds"), ({"schedules": "often"}, "schedules"),
    ({"faults": "bad"}, "is not known"), ({"options": cuffloop.TrendOptions("best")}, "estimator best"),
    ({"options": cuffloop.TrendOptions(turn_min=1)}, "turn 1 must be"),
])
def test_bad_input_is_one_line(options, words):
    with pytest.raises(cuffloop.InputError, match=words):
        cuffloop.trend("wrist", **options)


def test_examples():
    doctests_of("readings.trend")
