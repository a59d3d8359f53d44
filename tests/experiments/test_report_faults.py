"""Sections of a report that follow from a study of failures."""
import math

import pytest

from experiments.failure_table import Failure, Outcome
from experiments.report_faults import (
    Evidence,
    alarm_text,
    faults_sections,
    short_answer,
    worst_failure,
)
from experiments.scales import default_scales, load_scales

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(412.0, 0.4, 2.0, 0.0, 0.0, ("330 mmHg",))
SILENT = Outcome(170.0, math.inf, math.inf, 25.0, 90.0)


def failure(name, protected=FINE, broken=0, missed=0, **without):
    return Failure(name, "valve", "stuck open", "pressure rises", "dirt", "pressure limit", 200, broken, missed,
                   0.4, protected, without)


def evidence(*failures, hours=1000.0):
    return Evidence(list(failures), ("cuff_mmHg ≤ 330",), load_scales(default_scales()), hours, 0,
                    {"matrix": (b"\x89PNG", "Which protection catches what")}, "cuffloop faults wrist")


def test_a_minute_is_enough():
    """The worst failure, what catches it, and what happens when that is gone."""
    said = short_answer(evidence(failure("supply high", **{"relief valve": FINE}),
                                 failure("valve stuck open", **{"pressure limit": HIGH, "relief valve": FINE})))
    assert "Worst failure: valve stuck open" in said and "at most 180 mmHg" in said
    assert "pressure limit catches it first, after 0.40 s (median), the cuff is empty 2.00 s after" in said
    assert "Without pressure limit: 412 mmHg, breaks 330 mmHg" in said
    assert "1 pairs" in said and "No failure reads more than 10 mmHg wrong" in said


def test_silence_is_named():
    said = short_answer(evidence(failure("a"), failure("transducer drift", SILENT, missed=200)))
    assert "transducer drift: up to 25 mmHg wrong for 90 s" in said and "1 of 2" in said
    assert "nothing notices it" in short_answer(evidence(failure("transducer drift", SILENT, missed=200)))
    assert "4 of 200 runs go unnoticed" in short_answer(evidence(failure("motion", missed=4)))


def test_the_hardest_press_comes_first_and_what_is_not_contained_is_named():
    broken = failure("b", HIGH._replace(highest_mmHg=335.0))
    everything = evidence(failure("a", limit=HIGH), broken)
    assert worst_failure(everything).name == "a"
    assert "Not contained with all protection: b (330 mmHg)." in short_answer(everything)
    assert "Not contained with all protection: none." in short_answer(evidence(failure("a")))


def test_sections():
    sections = {s.anchor: s.body for s in faults_sections(evidence(failure("a", limit=HIGH), failure("b", HIGH, 3)))}
    assert set(sections) == {"faults", "points", "bounds", "alarms"}
    assert "data:image/png" in sections["faults"] and 'id="figure-matrix"' in sections["faults"]
    assert "invented" in sections["faults"] and "cuffloop faults wrist" in sections["faults"]
    assert "limit" in sections["points"] and "330 mmHg" in sections["points"]
    assert "1.49" in sections["bounds"]  # 1 − 0.05^(1/200), in percent
    assert "0 in 1e+03 finger-hours" in sections["alarms"]


def test_without_a_single_point():
    sections = {s.anchor: s.body for s in faults_sections(evidence(failure("a", limit=FINE)))}
    assert "No protection, taken away alone" in sections["points"]


@pytest.mark.parametrize(("alarms", "hours", "words"), [
    (0, 1000.0, "at most one in 334 finger-hours"), (2, 100.0, "2 in 100 finger-hours"), (0, 0.0, "No physiology"),
])
def test_false_alarms_come_with_their_bound(alarms, hours, words):
    assert words in alarm_text(alarms, hours)
