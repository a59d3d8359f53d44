"""Commands about a rig hand over what was asked."""
import pytest

from experiments.commands import rig
from experiments.commands.jobs.check import CheckOptions
from experiments.commands.jobs.margins import MarginsOptions
from experiments.commands.jobs.rigs import RigsOptions
from experiments.commands.jobs.simulate import SimulateOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["check"], "check.check_job", CheckOptions(rigs=["wrist"])),
    (["check", "wrist", "a.toml"], "check.check_job", CheckOptions(rigs=["wrist", "a.toml"])),
    (["simulate", "cabinet", "--offset", "3"], "simulate.simulate_job", SimulateOptions(rig="cabinet", offset=3.0)),
    (["simulate", "--finger", "mixed-1-0003", "--columns", "t,p"], "simulate.simulate_job",
     SimulateOptions(finger="mixed-1-0003", columns="t,p")),
    (["margins", "--at", "80"], "margins.margins_job", MarginsOptions(at=[80.0])),
    (["rigs", "wrist", "--json"], "rigs.rigs_job", RigsOptions(rig="wrist", as_json=True)),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in rig.COMMANDS}
