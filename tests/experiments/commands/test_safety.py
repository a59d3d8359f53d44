"""Commands for a safety reviewer hand over what was asked."""
import pytest

from experiments.commands import safety
from experiments.commands.jobs.faults import FaultsOptions
from experiments.commands.jobs.report import ReportOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["faults", "--full", "--stories", "5", "--trust"], "faults.faults_job",
     FaultsOptions(full=True, stories=5.0, trust=True)),
    (["report", "--seconds", "9"], "report.report_job", ReportOptions(seconds=9.0)),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in safety.COMMANDS}
