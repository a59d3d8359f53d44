"""Commands for a design hand over what was asked."""
import pytest

CASES = [
    (["tune", "--fingers", "9"], "tune.tune_job",
     ("wrist", 9, "mixed", 100.0, None, None, 1, None, None, False)),
    (["budget", "cabinet", "--spread", "0.1"], "budget.budget_job",
     ("cabinet", 90.0, None, 0.1, 1, None, None, None, None, False)),
    (["sweep", "wrist", "controller.kp=1,2"], "sweep.sweep_job",
     (["wrist", "controller.kp=1,2"], None, None, None, None, False, None, None, None, 1,
      None, None, None, None, False)),
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
