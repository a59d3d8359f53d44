"""The lines and the plain data of a study, on rows made up by hand; and the catalogue."""
import pytest

from experiments.safety.faults.study import KEYS
from experiments.safety.faults.summary import summary_table
from experiments.safety.faults.text import catalogue_lines, study_json, study_lines
from experiments.work.output import plain
from tests.experiments.safety.faults.made_study import made_study


@pytest.fixture
def study():
    return made_study()


def test_lines_say_it_all(study):
    text = "\n".join(study_lines(study, summary_table(study)))
    for word in ("BREAKS undetected wrong reading", "rig wrist: FAIL", "relief",
                 "Not contained: 1 of 2 failures breaks", "Worst contained: valve stuck open",
                 "Without relief: pressure",
                 "400 mmHg", "1 false alarms in 1 runs", "valve_stuck_open + emitter_out", "three: does not hold",
                 "intermittent cuffs"):
        assert word in text
    assert max(map(len, text.splitlines())) < 200
    assert text.index("Not contained") < text.index("Worst contained") < text.index("highest")
    assert text.lower().count("worst") == 1


def test_json_is_plain(study):
    document = plain(study_json(study, summary_table(study)))
    assert document["runs"] == len(study.rows) and document["not_contained"] == ["emitter_out", "cough"]
    assert document["single_points"][0]["lost"] == "relief" and len(KEYS) == 8
    assert document["false_alarms"] == 1 and document["person_hours"] == 36.0 / 3600.0


def test_the_catalogue_lists_everything():
    text = "\n".join(catalogue_lines())
    assert "valve_stuck_open" in text and "valsalva" in text and "watchdog" in text
