"""From what `cuffloop faults` writes to the evidence of a report."""
import json
import math

import pytest

from experiments.safety.report.evidence import (
    check_same_rig,
    failures_of,
    limit_words,
    physiology_of,
    read_study,
    study_figures,
)
from experiments.safety.report.study_document import CHECKER
from plant.errors import InputError

ROW = {
    "fault": "valve_stuck_open", "lost": "", "item": "valve", "mode": "stuck wide open", "kind": "failure", "runs": 40,
    "broken_runs": 0, "highest_mmHg": 212.0, "detected_worst_s": 0.4, "detected_median_s": 0.3, "undetected": 0,
    "vent_20_s": 1.5,
    "wrong_mmHg": 40.0, "wrong_s": 0.3, "caught_by": "pressure_limit", "breaks": [],
}
STUDY = {
    "rig": "wrist", "settings": [], "person_hours": 1.0, "false_alarms": 2,
    "limits": {"fault_mmHg": 330.0}, "limits_note": "by analogy",
    "failures": [ROW, ROW | {"fault": "drift", "undetected": 3, "vent_20_s": "nan", "wrong_s": 31.0,
                                 "wrong_mmHg": 12.0},
                 ROW | {"fault": "cough", "kind": "physiology", "runs": 120, "broken_runs": 2}],
    "without": {"relief": [ROW | {"lost": "relief", "highest_mmHg": 400.0, "breaks": ["pressure"]}], "watchdog": []},
    "provenance": {"command": "cuffloop faults wrist"},
}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "faults.json").write_text(json.dumps(STUDY))
    return tmp_path


def test_failures_and_what_each_loss_does(folder):
    stuck, drift = failures_of(read_study(folder))
    assert (stuck.name, stuck.runs, stuck.detection) == ("valve_stuck_open", 40, "pressure limit")
    assert stuck.protected.detect_s == 0.4 and stuck.protected.broken == ()
    assert stuck.without["relief"].highest_mmHg == 400.0 and stuck.without["relief"].broken == ("pressure",)
    assert "212 mmHg" in stuck.effect and "unsaid" not in stuck.effect and "spool" in stuck.cause
    assert math.isinf(drift.protected.detect_s)  # missed three times is not detected, for the rank
    assert (drift.missed_runs, drift.detect_median_s) == (3, 0.3)
    assert math.isinf(drift.protected.vent_s) and "12 mmHg wrong for 31.0 s" in drift.effect


def test_physiology_is_counted_by_the_study_alone():
    """Scenarios last longer than a failure, and two of them may alarm: only the study knows."""
    assert physiology_of(STUDY) == (1.0, 2)
    assert [failure.name for failure in failures_of(CHECKER.validate_python(STUDY))] == ["valve_stuck_open", "drift"]


def test_limits_with_what_they_stand_on():
    assert limit_words(STUDY) == ("fault_mmHg = 330", "by analogy")


def test_a_picture_beside_it_is_taken_along(folder):
    assert study_figures(folder) == {}
    (folder / "faults.png").write_bytes(b"\x89PNG")
    assert study_figures(folder)["matrix"][0] == b"\x89PNG" == study_figures(folder / "faults.json")["matrix"][0]
    (folder / "fallback.png").write_bytes(b"\x89PNG 2")
    assert list(study_figures(folder)) == ["fallback", "matrix"]


@pytest.mark.parametrize(("text", "words"), [
    (None, "cannot be read"), ("{", "is not JSON"), ("[]", "the document = \\[\\]"), ("[" * 100_000, "is not JSON"),
    ("9" * 5000, "is not JSON"), ("\ud800", "is not JSON"),
    (json.dumps({k: v for k, v in STUDY.items() if k != "without"}), "without is missing"),
    (json.dumps(STUDY | {"failures": [ROW | {"runs": 0}]}), r"failures\.0\.runs = 0: input should be greater"),
    (json.dumps(STUDY | {"failures": [ROW | {"broken_runs": 41}]}), "valve_stuck_open has more runs that went wrong"),
    (json.dumps(STUDY | {"failures": [ROW | {"highest_mmHg": "much"}]}), r"failures\.0\.highest_mmHg = 'much'"),
    (json.dumps(STUDY | {"failures": [], "without": {}}), "no failure was run in this study"),
    (json.dumps(STUDY | {"failures": [STUDY["failures"][2]]}), "no failure was run in this study"),
    (json.dumps(STUDY | {"false_alarms": 10**400}), "false_alarms = 1000"),
    (json.dumps(STUDY | {"person_hours": "nan"}), "person_hours = 'nan'"),
])
def test_what_is_no_study_is_one_line(tmp_path, text, words):
    if text is not None:
        (tmp_path / "faults.json").write_text(text, errors="surrogatepass")
    with pytest.raises(InputError, match=words) as refused:
        read_study(tmp_path)
    assert "\n" not in str(refused.value) and "--faults" in str(refused.value)


def test_another_rig_is_refused(wrist, tmp_path):
    check_same_rig(STUDY, wrist, "wrist", [], tmp_path)
    check_same_rig(STUDY, wrist, "mine.toml", [], tmp_path)  # a file of this rig's name
    for made, given in (("valve_near", "wrist"), ("wrist", "valve_near"), ("valve_near", "valve_near")):
        check_same_rig(STUDY | {"rig": made}, wrist, given, [], tmp_path)
    for document, settings in ((STUDY | {"rig": "cabinet"}, []), (STUDY, ["controller.kp=0.01"]),
                               (STUDY | {"settings": ["tube.length_m=1"]}, [])):
        with pytest.raises(InputError, match="was made on rig"):
            check_same_rig(document, wrist, "wrist", settings, tmp_path)
