"""Hazards follow from the limits that runs broke."""
from experiments.safety.faults.findings import ALARM, BREAKS
from experiments.safety.report.hazards import HAZARDS, LIMITS, LOST, control_words, hazard_rows, hazards_of
from tests.experiments.safety.faults.test_findings import FINE, HIGH, TRAPPED, failure


def test_every_limit_means_a_hazard():
    assert set(LIMITS) == set(BREAKS) - {ALARM} and set(LIMITS.values()) | {LOST} == set(HAZARDS)
    assert len({hazard.identifier for hazard in HAZARDS}) == len(HAZARDS)


def test_hazards_and_controls_of_a_failure():
    found = failure("a", dump_valve=TRAPPED, relief=HIGH)
    assert [h.identifier for h in hazards_of(found)] == ["HZ1", "HZ2"]
    assert control_words(found) == "relief, dump valve"
    assert hazards_of(failure("b")) == [LOST] and hazards_of(failure("b")._replace(missed_runs=20)) == []


def test_one_row_a_hazard():
    rows = {row[0]: row[4:] for row in hazard_rows([failure("a", relief=HIGH, watchdog=FINE),
                                                    failure("b", TRAPPED, 20)])}
    assert rows["HZ1"] == [1, "relief", "none"] and rows["HZ2"] == [1, "none", "b"] and rows["HZ4"][0] == 0
