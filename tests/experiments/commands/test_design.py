"""Commands for a design hand over what was asked."""
import pytest

from experiments.commands import design
from experiments.commands.jobs.budget import BudgetOptions
from experiments.commands.jobs.sweep import SweepJob
from experiments.commands.jobs.tune import TuneOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["tune", "--fingers", "9"], "tune.tune_job", TuneOptions(fingers=9)),
    (["budget", "cabinet", "--spread", "0.1"], "budget.budget_job", BudgetOptions(rig="cabinet", spread=0.1)),
    (["sweep", "wrist", "controller.kp=1,2"], "sweep.sweep_job", SweepJob(words=["wrist", "controller.kp=1,2"])),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in design.COMMANDS}
