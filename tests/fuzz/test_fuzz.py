"""A sample of the damage that `python -m tests.fuzz.run` does, other cases than those of the long run."""
import pytest

from tests.fuzz import run
from tests.fuzz.targets import TARGETS


@pytest.mark.parametrize("part", range(2))
def test_a_sample_of_damage(part):
    report = run.cases(2026, 500 * part, 500)
    assert report.failures == []
    assert {name for name, _ in report.ends} == set(TARGETS)
    assert sum(number for (_, end), number in report.ends.items() if end == "2") > 300  # most of it is refused


def test_what_should_not_happen_is_reported(monkeypatch):
    """A target that raises, and one whose command ends in an odd way."""
    monkeypatch.setattr(run, "TARGETS", {"breaks": lambda rng, folder: 1 / 0})
    report = run.cases(1, 0, 2)
    assert len(report.failures) == 2 and "ZeroDivisionError" in report.failures[0]
    monkeypatch.setattr(run, "TARGETS", {"odd": lambda rng, folder: ("check", "absent.toml")})
    monkeypatch.setattr(run, "said_by", lambda arguments: (2, "", "cuffloop: a\nb\nc\n"))
    assert "AssertionError" in run.cases(1, 0, 1).failures[0]
