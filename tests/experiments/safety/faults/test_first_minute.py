"""The short answer: what is not contained first, then the worst that is, and the removal that breaks a limit."""
import math

from experiments.safety.faults.findings import Failure, Outcome
from experiments.safety.faults.first_minute import answer_lines, first_minute, headline

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(412.0, 0.4, 2.0, 0.0, 0.0, ("pressure",))
SILENT = Outcome(170.0, math.inf, math.inf, 25.0, 90.0, ("undetected wrong reading",))


def failure(name, protected=FINE, broken=0, missed=0, **without):
    return Failure(name, "valve", "stuck open", "", "", "pressure limit", 200, broken, missed, 0.4, protected, without)


def said_of(*failures):
    return {answer.question: "\n".join(answer.lines) for answer in first_minute(list(failures))}


def test_what_is_not_contained_comes_first_the_gravest_first():
    answers = first_minute([failure("a", relief=HIGH), failure("quiet_one", SILENT, 200), failure("b", HIGH, 3)])
    assert answers[0].question == "Not contained" and answers[0].lines[0].startswith("2 of 3 failures break")
    assert answers[0].lines[1] == "b (valve: stuck open): pressure above the limit, 412 mmHg; 3 of 200 runs"
    assert answers[0].lines[2].endswith("reads wrong and nobody notices, up to 25 mmHg for 90 s; 200 of 200 runs")
    assert said_of(failure("a"))["Not contained"].startswith("None: with all protection no failure of 1")


def test_the_worst_contained_is_not_one_that_is_not():
    said = said_of(failure("b", HIGH, 3), failure("supply_high", relief=FINE), failure("stuck", pressure_limit=HIGH))
    assert said["Worst contained"].startswith("stuck (valve: stuck open): at most 180 mmHg")
    assert said["What catches it"] == ("Pressure limit catches it first, after 0.40 s (median); the cuff is empty "
                                       "2.00 s after it is vented.")
    assert said["Its removal that breaks a limit"] == "Without pressure limit: pressure above the limit, 412 mmHg."
    assert said["Single points of failure"].startswith("1 pair of")


def test_a_harmless_removal_is_not_the_answer():
    """Without its catcher every limit is kept; without the dump valve one is not: that one is told."""
    vent = FINE._replace(broken=("vent",), vent_s=math.inf)
    said = said_of(failure("a", pressure_limit=FINE, dump_valve=vent, relief=HIGH))["Its removal that breaks a limit"]
    assert said.splitlines() == ["Without relief: pressure above the limit, 412 mmHg.",
                                 "Without dump valve: does not empty in time, never empty."]
    assert said_of(failure("a", limit=FINE))["Its removal that breaks a limit"].startswith("None: without any single")
    for question in ("Its removal that breaks a limit", "Single points of failure"):
        assert said_of(failure("a"))[question].startswith("Not studied")
    assert said_of(failure("a", limit=FINE))["Single points of failure"].startswith("No single lost protection")


def test_a_cuff_that_was_not_always_let_go():
    """Where it was let go it was empty at once; what broke the limit is that it was not, in other runs."""
    for vent_s, words in ((0.01, "in some runs never empty"), (12.0, "empty after 12.0 s"), (math.inf, "never empty")):
        loose = failure("full", FINE._replace(broken=("vent",), vent_s=vent_s), 96)
        assert f"does not empty in time, {words}; 96 of 200" in said_of(loose)["Not contained"]


def test_only_one_row_says_worst():
    lines = answer_lines(first_minute([failure("a", relief=HIGH), failure("b", HIGH, 3), failure("c", SILENT, 9)]))
    assert sum("worst" in line.lower() for line in lines) == 1


def test_silence_and_moments():
    assert said_of(failure("drift", missed=200))["What catches it"] == "Nothing notices it."
    assert "4 of 200 runs go unnoticed" in said_of(failure("motion", missed=4))["What catches it"]
    quick = failure("a", FINE._replace(vent_s=0.013))._replace(detect_median_s=0.0004)
    assert "after 1 ms (median); the cuff is empty 13 ms" in said_of(quick)["What catches it"]


def test_no_bare_pass_where_something_is_not_contained():
    loose = [failure("a"), failure("b", HIGH, 3)]
    assert headline("mine", True, loose) == "Rig mine: FAIL: 1 of 2 failures is not contained; requirements kept"
    assert headline("mine", True, [failure("a")]) == "Rig mine: PASS: all 1 failures contained; requirements kept"
    assert headline("mine", False, [failure("a")]).startswith("Rig mine: FAIL:")
    assert "PASS" not in headline("mine", True, None) and "not studied" in headline("mine", True, None)
