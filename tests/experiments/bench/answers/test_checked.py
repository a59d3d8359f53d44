"""The ledger is `cuffloop check --json`, number by number."""
import json

import pytest

from experiments.bench.answers.checked import checked, printed
from experiments.bench.asked import Refused
from experiments.bench.wire import packed, unpacked
from experiments.work.progress import progress
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


class Enough(Exception):
    """Raised by a watcher who wants no more."""


class Counting:
    """A watcher that stops the work when it has been told so often."""

    def __init__(self, most):
        self.most, self.told = most, []

    def __call__(self, share):
        self.told.append(share)
        if len(self.told) == self.most:
            raise Enough


def test_a_check_that_is_watched_finds_the_same_and_can_be_left_at_any_piece():
    (alone,) = checked(asked())
    all_of_it = Counting(0)
    with progress(all_of_it):
        (watched,) = checked(asked())
    assert watched.head == alone.head and len(all_of_it.told) > 20 and all_of_it.told[-1] == 1.0
    for most in (1, 5, len(all_of_it.told) - 3, len(all_of_it.told) - 1):
        with pytest.raises(Enough), progress(Counting(most)):
            list(checked(asked()))
