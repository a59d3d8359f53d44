import pytest

from experiments.readings.beats.delineate import Marks
from experiments.readings.beats.reasons import Before, Reason, followed, reasons_of, usual_interval_s

USUAL = Marks(0.8, 120.0, 90.0, 75.0, 0.15, 0.28, 100.0, 6.0, 6.0, 800.0, 0.1)
AFTER = Before(120.0, 75.0, (0.8,) * 8, True)


def test_a_usual_beat_counts() -> None:
    assert reasons_of(USUAL, AFTER, False) == Reason.NONE and reasons_of(USUAL, None, False) == Reason.NONE
    assert Reason.NONE.words == ""


@pytest.mark.parametrize(("changes", "early", "reason"), [
    ({"systolic_mmHg": 310.0}, False, Reason.NOISE), ({"diastolic_mmHg": 15.0}, False, Reason.NOISE),
    ({"systolic_mmHg": 82.0}, False, Reason.NOISE), ({"roughness_mmHg": 4.0}, False, Reason.NOISE),
    ({"systolic_mmHg": 145.0}, False, Reason.NOISE), ({"interval_s": 0.5}, False, Reason.ECTOPIC),
    ({}, True, Reason.ECTOPIC), ({"interval_s": 0.5, "roughness_mmHg": 4.0}, False, Reason.ECTOPIC | Reason.NOISE),
])
def test_each_reason_is_given(changes: dict[str, float], early: bool, reason: Reason) -> None:
    assert reasons_of(USUAL._replace(**changes), AFTER, early) == reason


def test_after_a_beat_that_does_not_count_no_change_is_held_against_the_next() -> None:
    assert reasons_of(USUAL._replace(systolic_mmHg=145.0), AFTER._replace(counted=False), False) == Reason.NONE


def test_words_and_memory() -> None:
    assert (Reason.SEARCH | Reason.ECTOPIC).words == "search under way, ectopic"
    assert usual_interval_s((0.8, 1.0, 0.6)) == 0.8 and usual_interval_s((0.8, 1.0)) == 0.9
    assert usual_interval_s(()) == 0.0
    kept = followed(USUAL._replace(interval_s=0.5), Reason.ECTOPIC, AFTER)
    assert kept.intervals_s == AFTER.intervals_s and not kept.counted
    assert followed(USUAL, Reason.NONE, None) == Before(120.0, 75.0, (0.8,), True)
    assert len(followed(USUAL, Reason.NONE, AFTER).intervals_s) == 8
