"""Commands about the finger hand over what was asked."""
import pytest

CASES = [
    (["search", "--strategy", "probing"], "search.search_job",
     ("wrist", None, None, "probing", None, None, None, None, None, False)),
    (["search", "--fingers", "9", "--workers", "2"], "search.study_job",
     ("wrist", 9, 0, None, None, None, None, 2, None, None, None, False)),
    (["schedules", "--full", "--cluster", "tcp://a:1"], "schedules.schedules_job",
     ("wrist", "all", None, None, None, "mixed", 1, True, None, "tcp://a:1", None, None, False)),
    (["height", "--sensor", "gain=1"], "height.height_job",
     ("wrist", ["gain=1"], 1, None, None, False)),
    (["wear", "--hours", "8"], "wear.wear_job",
     (8.0, 2, 60.0, 0.0, 90.0, None, False)),
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
