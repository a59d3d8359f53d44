"""Commands about a rig hand over what was asked."""
import pytest

CASES = [
    (["check"], "check.check_job",
     ("wrist", None, None, None, 0.0, 1, None, None, False)),
    (["simulate", "cabinet", "--offset", "3"], "simulate.simulate_job",
     ("cabinet", None, None, 0.0, 1, None, 3.0, 0.0, 0.0, None, None, False)),
    (["margins", "--at", "80"], "margins.margins_job",
     ("wrist", [80.0], None, None, False)),
    (["rigs", "wrist", "--json"], "rigs.rigs_job",
     ("wrist", None, True)),
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
