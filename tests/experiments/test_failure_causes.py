"""Causes of failures, in words."""
from experiments.failure_causes import CAUSES, UNKNOWN, cause_of


def test_words_are_there_and_short():
    assert len(CAUSES) >= 30
    for name, words in CAUSES.items():
        assert name.islower() and 5 < len(words) < 60 and cause_of(name) == words


def test_an_unknown_failure_says_so():
    assert cause_of("volcano") == UNKNOWN
