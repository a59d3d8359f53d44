import json

from experiments.readings.limits.pictures import require_figure
from experiments.readings.limits.solve import Wanted
from experiments.readings.limits.study import required
from experiments.rigs.rig import load_rig
from experiments.trend.document import CHECKER
from experiments.trend.section import readings_section
from experiments.trend.text import trend_json
from experiments.work.output import plain
from tests.experiments.trend.one_study import one_study

FOUND = required(load_rig("wrist"), Wanted(output_percent=5.0), 90.0)


def test_without_hours_the_loop_is_told_of_and_how_to_get_them():
    section = readings_section(FOUND, require_figure(FOUND), None, {})
    assert section.anchor == "readings" and "By the set point" in section.body and "--trend FOLDER" in section.body
    assert "e−" not in section.body.replace("base64", "")[:3000]  # nothing as small as rounding


def test_hours_fingers_and_failures():
    told = trend_json(one_study()[0]) | {"provenance": {"command": "cuffloop trend wrist"}}
    trend = CHECKER.validate_python(json.loads(json.dumps(plain(told))))
    body = readings_section(FOUND, require_figure(FOUND), trend, {"turns": (b"png", "Two fingers & a day")}).body
    assert "<td>steady</td>" in body and "Two fingers &amp; a day" in body and "figure-turns" in body
    assert "height wrong" in body and ">never<" in body and "1 of 2 failures" in body
    assert "Rerun: cuffloop trend wrist" in body
