"""Limits for failures: read, refused, and held against runs."""
import numpy as np
import pytest

from experiments.safety.faults.findings import BREAKS
from experiments.safety.faults.verdict import DEFAULT, FaultLimits, broken, load_fault_limits
from plant.errors import InputError

FINE = {"highest_mmHg": 200.0, "above_normal_s": 0.0, "vent_start_s": 1.0, "below_15_s": 0.5, "below_20_s": 0.4,
        "wrong_longest_s": 0.0, "detected_s": 1.0, "wrong_at_alarm_mmHg": 2.0, "skin_degC": 35.0,
        "lowest_mmHg": 90.0}


def judged(limits=FaultLimits(), person=False, after_s=36.0, **changes):  # noqa: B008
    figures = {name: np.array([value]) for name, value in {**FINE, **changes}.items()}
    found = broken(limits, figures, np.array([person]), after_s)
    return [name for i, name in enumerate(BREAKS) if found[0, i]]


def test_the_shipped_file_says_what_the_declaration_says():
    assert load_fault_limits(None) == FaultLimits()
    assert "IEC 80601-2-30" in DEFAULT.read_text(encoding="utf-8")


def test_each_limit_is_broken_just_beyond_it():
    assert judged() == []
    assert judged(highest_mmHg=330.0) == [] and judged(highest_mmHg=330.1) == ["pressure"]
    assert judged(above_normal_s=15.0) == [] and judged(above_normal_s=15.1) == ["time above normal"]
    assert judged(below_15_s=10.0) == [] and judged(below_15_s=10.1) == ["vent"]
    assert judged(below_15_s=-1.0) == ["vent"]
    assert judged(wrong_longest_s=30.1) == ["undetected wrong reading"]
    assert judged(FaultLimits(vent_mmHg=20.0), below_15_s=-1.0) == []


def test_skin_and_a_cuff_that_has_to_be_emptied():
    assert judged(skin_degC=43.0) == [] and judged(skin_degC=43.1) == ["skin heat"]
    figures = {name: np.array([value] * 2) for name, value in FINE.items()} | {"lowest_mmHg": np.array([15.0, 15.1])}
    for to_empty in (True, False):
        found = broken(FaultLimits(), figures, np.zeros(2, bool), 36.0, np.full(2, to_empty))
        assert list(found[:, BREAKS.index("vent")]) == [False, to_empty]


def test_what_the_run_was_too_short_to_show_is_not_held_against_it():
    assert judged(vent_start_s=30.0, below_15_s=-1.0) == [] and judged(vent_start_s=-1.0, below_15_s=-1.0) == []


def test_a_person_who_is_detected_is_a_false_alarm():
    assert judged(person=True) == ["false alarm"] and judged(person=True, detected_s=-1.0) == []
    assert judged(person=True, wrong_at_alarm_mmHg=12.0) == [], "what was shown had become wrong"
    assert judged(person=True, detected_s=-1.0, wrong_longest_s=35.0) == []


@pytest.mark.parametrize(("text", "word"), [
    ("", "limits"), ("[other]\na = 1\n", "other"), ("limits = 3\n", "limits"),
    ("[limits]\nfault_mmHg = 5\n", "fault_mmHg"), ("[limits]\nnonsense = 5\n", "nonsense"),
    ("[limits]\nvent_mmHg = 17.0\n", "15 or 20"),
])
def test_a_bad_file_is_refused(tmp_path, text, word):
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=word):
        load_fault_limits(path)
