"""Rigs side by side, in lines and as plain data."""
import json

import pytest

from experiments.check.comparison.text import comparison_json, comparison_lines, label_of, missed_by
from experiments.check.dataset import figures_of
from experiments.work.output import plain
from tests.experiments.check.comparison.comparison_bench import compared


@pytest.fixture(scope="module")
def found(checked):
    return compared(checked)


def test_a_column_for_each_rig(found):
    lines = comparison_lines(found)
    text = "\n".join(lines)
    first = next(line for line in lines if line.startswith("worst of all"))
    assert "wrist" in first and "wrist controller.kp" in first
    row = next(line for line in lines if line.startswith("tracking error, rms"))
    for check in found.checks:
        assert f"{figures_of(check)['rms_error_mmHg']:.4g}" in row
    for words in ("phase at the crossover of the worst loop", "parameters that differ", "controller.kp", "tube.kind",
                  "dead time", "PASS: wrist", "not a medical device"):
        assert words in text
    assert all(line == line.rstrip() for line in lines) and max(map(len, lines[:-1])) <= 165  # a column more of label


def test_a_missed_limit_is_marked_and_named(found):
    worse = found.checks[1]
    assert not worse.passed and missed_by(worse)
    lines = comparison_lines(found)
    marked = [line for line in lines if "!" in line[40:] and "misses a limit" not in line]
    assert len(marked) == len(missed_by(worse))
    assert any(line.startswith("FAIL: wrist controller.kp=0.005") and "misses" in line for line in lines)
    assert label_of("beat_systolic_error_mmHg.sd") == "systolic error by beat (sd)"


def test_json_holds_each_check_whole(found):
    document = json.loads(json.dumps(plain(comparison_json(found)), allow_nan=False))
    assert document["passed"] is False and document["rigs"] == list(found.names)
    assert document["differences"]["controller.kp"]["values"][found.names[1]] == 0.005
    assert [document["checks"][name]["passed"] for name in found.names] == [check.passed for check in found.checks]
