"""Commands for a safety reviewer hand over what was asked."""
from pathlib import Path

import pytest

CASES = [
    (["faults", "--full", "--stories", "5"], "faults.faults_job",
     ("wrist", None, None, 1, "mixed", False, True, None, 5.0, 36.0, None, None, None, 1, None, None, False)),
    (["report", "--seconds", "9"], "report.report_job",
     ("wrist", None, None, 9.0, None, None, 1, None, Path("report"), False)),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    asked = []

    def done(*arguments):
        asked.append(arguments)
        return 7

    monkeypatch.setattr(f"experiments.commands.jobs.{job}", done)
    assert cuffloop(*line).status == 7
    assert asked == [given]
