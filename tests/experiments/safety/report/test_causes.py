"""Causes of failures, in words."""
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.fault import PHYSIOLOGY
from experiments.safety.report.causes import CAUSES, UNKNOWN, cause_of


def test_every_failure_of_the_catalogue_has_one():
    failures = {name for name, fault in CATALOGUE.items() if fault.kind != PHYSIOLOGY}
    assert failures == set(CAUSES) and len(failures) >= 30


def test_words_are_short():
    for name, words in CAUSES.items():
        assert 5 < len(words) < 60 and cause_of(name) == words


def test_an_unknown_failure_says_so():
    assert cause_of("volcano") == UNKNOWN
