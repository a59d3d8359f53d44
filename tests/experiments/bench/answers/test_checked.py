"""The ledger is `cuffloop check --json`, number by number."""
import json

import pytest

from experiments.bench.answers.checked import checked, printed
from experiments.bench.asked import Refused
from experiments.bench.wire import packed, unpacked
from tests.experiments.bench.helper import asked


def test_figures_and_verdicts_are_the_commands(cuffloop):
    (answer,) = checked(asked(settings={"controller.kp": 0.02}))
    said = cuffloop("check", "wrist", "--record", "synthetic", "--seconds", 16, "--set", "controller.kp=0.02", "--json")
    command, page = json.loads(said.out), unpacked(packed(answer)).head
    for key, value in page["document"].items():
        assert command[key] == value, key
    for row, verdict in zip(page["ledger"], command["verdicts"], strict=True):
        assert (row["figure"], row["limit"], row["found"]) == (verdict["figure"], verdict["limit"], verdict["found"])
        assert row["kept"] == verdict["passed"]
    assert page["passed"] == command["passed"] == (said.status == 0)


def test_printed_as_the_table_prints_it():
    assert [printed(v) for v in (float("nan"), float("inf"), 0.56249, 1e-12)] == ["none", "∞", "0.5625", "0"]


def test_a_rig_that_cannot_clamp_is_refused():
    with pytest.raises(Refused):
        list(checked(asked(settings={"supply.pressure_mmHg": 60.0})))
