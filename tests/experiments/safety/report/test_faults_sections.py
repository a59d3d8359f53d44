"""Sections of a report that follow from a study of failures."""
import math

import pytest

from experiments.safety.faults.findings import Failure, Outcome
from experiments.safety.report.faults_sections import Evidence, alarm_text, faults_sections, short_answer
from experiments.safety.report.scales import default_scales, load_scales

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(412.0, 0.4, 2.0, 0.0, 0.0, ("pressure",))
SILENT = Outcome(170.0, math.inf, math.inf, 25.0, 90.0)


def failure(name, protected=FINE, broken=0, missed=0, **without):
    return Failure(name, "valve", "stuck open", "pressure rises", "dirt", "pressure limit", 200, broken, missed,
                   0.4, protected, without)


def evidence(*failures, hours=1000.0):
    return Evidence(list(failures), ("cuff_mmHg ≤ 330",), load_scales(default_scales()), hours, 0,
                    {"matrix": (b"\x89PNG", "Which protection catches what")}, "cuffloop faults wrist")


def test_the_short_answer_is_html_with_links():
    said = dict(short_answer(evidence(failure("a", limit=HIGH), failure("b", HIGH, 3))))
    assert said["Not contained"].startswith("1 of 2 failures breaks a limit")
    assert "<li>b (valve" in said["Not contained"]
    assert "#limits" in said["Single points of failure"] and "#points" in said["Single points of failure"]


def test_sections():
    sections = {s.anchor: s.body for s in faults_sections(evidence(failure("a", limit=HIGH), failure("b", HIGH, 3)))}
    assert set(sections) == {"faults", "limits", "hazards", "points", "bounds", "alarms"}
    assert "data:image/png" in sections["faults"] and 'id="figure-matrix"' in sections["faults"]
    assert "invented" in sections["faults"] and "cuffloop faults wrist" in sections["faults"]
    assert "FL1" in sections["limits"] and 'class="fail"' in sections["limits"] and "330 mmHg" in sections["limits"]
    assert "HZ5" in sections["hazards"] and "ISO 14971" in sections["hazards"]
    assert "limit" in sections["points"] and "pressure above the limit" in sections["points"]
    assert "1.49" in sections["bounds"]  # 1 − 0.05^(1/200), in percent
    assert "each of the other 1 failures" in sections["bounds"] and "<td>b</td>" in sections["bounds"]
    assert "0 in 1e+03 finger-hours" in sections["alarms"]


def test_without_a_single_point():
    sections = {s.anchor: s.body for s in faults_sections(evidence(failure("a", limit=FINE)))}
    assert "No protection, taken away alone" in sections["points"]


@pytest.mark.parametrize(("alarms", "hours", "words"), [
    (0, 1000.0, "at most one in 334 finger-hours"), (2, 100.0, "2 in 100 finger-hours"), (0, 0.0, "No physiology"),
])
def test_false_alarms_come_with_their_bound(alarms, hours, words):
    assert words in alarm_text(alarms, hours)
