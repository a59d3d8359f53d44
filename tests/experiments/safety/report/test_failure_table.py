"""Failure-mode table: arithmetic, order, single points of failure, CSV."""
import csv
import io
import math

from hypothesis import given
from hypothesis import strategies as st

from experiments.safety.faults.findings import Failure, Outcome
from experiments.safety.report.failure_table import (
    COLUMNS,
    Row,
    priority,
    residual_text,
    rows_of,
    table_csv,
)
from experiments.safety.report.scales import default_scales, load_scales

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(340.0, 0.4, 2.0, 0.0, 0.0, ("330 mmHg",))
SLOW = Outcome(180.0, math.inf, math.inf, 25.0, 90.0)


def failure(name: str, protected: Outcome = FINE, **without: Outcome) -> Failure:
    return Failure(name, "valve", "stuck open", "pressure rises", "dirt", "pressure limit", 20, 0,
                   20 if math.isinf(protected.detect_s) else 0, protected.detect_s, protected, without)


@given(st.integers(1, 10), st.integers(1, 10), st.integers(1, 10))
def test_priority_is_the_product(severity, occurrence, detection):
    assert priority(severity, occurrence, detection) == severity * occurrence * detection


def test_worst_first():
    rows = rows_of([failure("a"), failure("b", HIGH), failure("c", SLOW)], load_scales(default_scales()))
    assert [row.name for row in rows] == ["c", "b", "a"]
    assert [row.priority for row in rows] == sorted((row.priority for row in rows), reverse=True)
    by_name = {row.name: row for row in rows}
    assert (by_name["b"].severity, by_name["b"].detectability) == (10, 1)
    assert (by_name["c"].severity, by_name["c"].detectability) == (7, 10)
    assert by_name["a"].priority == by_name["a"].severity * by_name["a"].occurrence * by_name["a"].detectability


def test_effects_name_hazard_harm_and_control():
    trapped = Outcome(180.0, 0.4, math.inf, 0.0, 0.0, ("vent",))
    row, = rows_of([failure("a", limit=HIGH._replace(broken=("pressure",)), dump_valve=trapped)],
                   load_scales(default_scales()))
    assert row.hazard == "high cuff pressure; pressure that stays" and "injury" in row.harm
    assert row.control == "limit, dump valve"
    calm, = rows_of([failure("a", relief=FINE)], load_scales(default_scales()))
    assert (calm.hazard, calm.control) == ("no reading", "")


def test_residual_words():
    assert residual_text(failure("a")) == "within limits"
    assert residual_text(failure("a", HIGH)) == "breaks 330 mmHg"
    assert "25 mmHg wrong for 90.0 s" in residual_text(failure("a", SLOW))
    assert "unnoticed in 20 of 20 runs" in residual_text(failure("a", FINE._replace(detect_s=math.inf)))


def test_csv_can_be_read_back():
    rows = rows_of([failure('odd, "name"'), failure("c", SLOW)], load_scales(default_scales()))
    read = list(csv.DictReader(io.StringIO(table_csv(rows))))
    assert [row["name"] for row in read] == [row.name for row in rows]
    assert [int(row["priority"]) for row in read] == [row.priority for row in rows]
    assert read[0]["missed_runs"] == "20" and read[1]["missed_runs"] == "0"
    assert set(COLUMNS) <= set(Row._fields)
