"""The limits for failures: identifiers, values, verdicts."""
from experiments.safety.faults.findings import ALARM, BREAKS
from experiments.safety.report.limit_table import ABOUT, LIMIT_HEAD, limit_rows
from tests.experiments.safety.faults.test_findings import FINE, HIGH, failure


def test_every_limit_of_a_failure_has_its_row_with_rationale_and_verdict():
    rows = limit_rows([failure("valve_stuck", HIGH, 3), failure("b")], {"fault_mmHg": 320.0})
    assert set(ABOUT) == set(BREAKS) - {ALARM} and len(rows) == len(ABOUT)
    assert {len(row) for row in rows} == {len(LIMIT_HEAD)}
    assert len({row[0] for row in rows}) == len(rows) and all(row[-1] for row in rows)
    first = rows[0]
    assert first[:5] == ["FL1", "cuff pressure never above 320 mmHg", "340 mmHg (valve stuck)", "valve stuck", False]
    assert [row[4] for row in rows[1:]] == [True, True, "not studied", True]


def test_what_a_study_does_not_say_is_not_made_up():
    heat = next(row for row in limit_rows([failure("a", FINE)], {}) if row[0] == "FL4")
    assert heat[2] == heat[4] == "not studied" and "43 °C" in heat[1]
