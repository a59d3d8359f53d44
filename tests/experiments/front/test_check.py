"""`cuffloop.check`: a rig judged from Python."""
import json

import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


@pytest.fixture(scope="module")
def result():
    return cuffloop.check("wrist", "synthetic", seconds=16)


def test_the_result(result, tmp_path):
    is_whole(result, {"budget", "margins", "tracking"}, tmp_path / "out",
             {"budget.png", "check.json", "margins.png", "tracking.png"})


def test_examples():
    doctests_of("check")


def test_the_same_as_the_command(run_command):
    """Bit for bit, but for who asked."""
    said = json.loads(run_command("check", "--record", "synthetic", "--seconds", "16", "--json").out)
    ours = json.loads(cuffloop.check("wrist", "synthetic", seconds=16).to_json())
    assert said["provenance"].pop("command") == "cuffloop check --record synthetic --seconds 16 --json"
    assert ours["provenance"].pop("command") == "cuffloop.check('wrist', 'synthetic', seconds=16)"
    assert said == ours


def test_figures_are_those_of_the_verdict(result):
    for verdict in result.found.verdicts:
        name = verdict.figure if "_" not in verdict.limit else f"{verdict.figure}.{verdict.limit[:-4]}"
        assert abs(result.figures[name]) == pytest.approx(abs(verdict.found))
        assert result.figure_units[name] == (verdict.unit or "1")


def test_a_trace_and_a_rig_of_ones_own(tmp_path):
    (tmp_path / "mine.toml").write_text('base = "wrist"\n[controller]\nkp = 0.006\n')
    trace = cuffloop.read_record("synthetic", seconds=16)
    by_path = cuffloop.check(tmp_path / "mine.toml", trace)
    by_rig = cuffloop.check(cuffloop.load_rig("wrist", {"controller.kp": 0.006}), "synthetic", seconds=16)
    assert by_path.figures == by_rig.figures


@pytest.mark.parametrize(("call", "words"), [
    (lambda: cuffloop.check("nobody"), "nobody: not a built-in rig"),
    (lambda: cuffloop.check(7), "rig: give a name, a path or a Rig, not int"),
    (lambda: cuffloop.check("wrist", "absent.csv"), "absent.csv: cannot be read"),
    (lambda: cuffloop.check("wrist", seconds=-1), "^seconds -1 must be from"),
    (lambda: cuffloop.check("wrist", start_s=-1), "^start_s -1 must be from"),
    (lambda: cuffloop.check("wrist", "synthetic", seed=-1), "^seed -1 must be from"),
    (lambda: cuffloop.check("wrist", cuffloop.read_record("synthetic", seconds=16), seconds=4), "is cut already"),
    (lambda: cuffloop.check("wrist", cuffloop.read_record("synthetic", seconds=16, period_s=2e-3)),
     r"tick of 0\.002 s .* read_record\(…, period_s=0\.001\)"),
    (lambda: cuffloop.check("wrist", "synthetic", seconds=3), "whole beats count"),
])
def test_what_is_refused_is_one_line(call, words):
    with pytest.raises(cuffloop.InputError, match=words) as refusal:
        call()
    assert "\n" not in str(refusal.value) and "--" not in str(refusal.value)
