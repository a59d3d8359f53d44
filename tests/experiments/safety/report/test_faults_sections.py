"""Sections of a report that follow from a study of failures."""
import math

import pytest

from experiments.safety.report.failure_table import Failure, Outcome
from experiments.safety.report.faults_sections import (
    Evidence,
    alarm_text,
    faults_sections,
    short_answer,
    worst_failure,
)
from experiments.safety.report.scales import default_scales, load_scales

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(412.0, 0.4, 2.0, 0.0, 0.0, ("330 mmHg",))
SILENT = Outcome(170.0, math.inf, math.inf, 25.0, 90.0)


def failure(name, protected=FINE, broken=0, missed=0, **without):
    return Failure(name, "valve", "stuck open", "pressure rises", "dirt", "pressure limit", 200, broken, missed,
                   0.4, protected, without)


def evidence(*failures, hours=1000.0):
    return Evidence(list(failures), ("cuff_mmHg ≤ 330",), load_scales(default_scales()), hours, 0,
                    {"matrix": (b"\x89PNG", "Which protection catches what")}, "cuffloop faults wrist")


def said_of(*failures):
    return {question: str(answer) for question, answer in short_answer(evidence(*failures))}


def test_a_minute_is_enough():
    """The worst failure, what catches it, and what happens when that is gone."""
    said = said_of(failure("supply_high", relief_valve=FINE),
                   failure("valve_stuck_open", pressure_limit=HIGH, relief_valve=FINE))
    assert said["The worst failure"].startswith("valve stuck open (valve: stuck open). With all protection at most 180")
    assert said["What catches it"] == ("Pressure limit catches it first, after 0.40 s (median); the cuff is empty "
                                       "2.00 s after it is vented.")
    assert said["When that is gone"] == "Without pressure limit: 412 mmHg; breaks 330 mmHg."
    assert "Its worst loss" not in said, "the same protection is not told twice"
    assert said["Single points"].startswith("1 pair of") and "#points" in said["Single points"]
    assert said["Worst silent failure"].startswith("None reads")


def test_a_loss_that_is_worse_than_that_of_the_catcher_is_told_too():
    vent = HIGH._replace(broken=("vent",))
    said = said_of(failure("a", pressure_limit=FINE, dump_valve=vent))
    assert said["When that is gone"] == "Without pressure limit: 180 mmHg; every limit kept."
    assert said["Its worst loss"] == "Without dump valve: 412 mmHg; does not empty in time."


def test_silence_is_named():
    said = said_of(failure("a"), failure("transducer drift", SILENT, missed=200))["Worst silent failure"]
    assert "transducer drift: up to 25 mmHg wrong for 90 s" in said and "of the 2 failures 1 reads" in said
    assert said_of(failure("drift", SILENT, missed=200))["What catches it"] == "Nothing notices it."
    assert "4 of 200 runs go unnoticed" in said_of(failure("motion", missed=4))["What catches it"]


def test_a_moment_is_read_in_milliseconds():
    quick = failure("a", FINE._replace(vent_s=0.013))._replace(detect_median_s=0.0004)
    assert "after 1 ms (median); the cuff is empty 13 ms" in said_of(quick)["What catches it"]


def test_the_hardest_press_comes_first_and_what_is_not_contained_is_named():
    broken = failure("b", HIGH._replace(highest_mmHg=335.0))
    everything = evidence(failure("a", limit=HIGH), broken)
    assert worst_failure(everything).name == "a"
    loose = said_of(failure("a", limit=HIGH), broken)["Not contained"]
    assert loose == "Even with all protection: b (breaks 330 mmHg)."
    assert said_of(failure("a"))["Not contained"].startswith("None: with all protection no failure of 1")


def test_sections():
    sections = {s.anchor: s.body for s in faults_sections(evidence(failure("a", limit=HIGH), failure("b", HIGH, 3)))}
    assert set(sections) == {"faults", "points", "bounds", "alarms"}
    assert "data:image/png" in sections["faults"] and 'id="figure-matrix"' in sections["faults"]
    assert "invented" in sections["faults"] and "cuffloop faults wrist" in sections["faults"]
    assert "limit" in sections["points"] and "330 mmHg" in sections["points"]
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
