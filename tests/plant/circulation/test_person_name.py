import numpy as np
import pytest

from plant.circulation.person import usual_physiology
from plant.circulation.person_name import driven_tone, is_person, named_person, named_record, raw_person
from plant.errors import InputError
from plant.finger.tone import ToneDrive


def test_a_name_is_a_person() -> None:
    assert is_person("person:45f") and not is_person("synthetic") and not is_person("person.csv")
    who = named_person("person:60m,height_cm=182,rate_per_min=90,ectopic_share=0.05,gradient_mmHg=-6")
    assert (who.person.age_years, who.person.sex, who.person.height_cm, who.person.gradient_mmHg) == (60, "m", 182, -6)
    assert who.state.rate_per_min == 90 and who.rhythm.ectopic_share == 0.05
    assert who.state.stroke_mL == usual_physiology(who.person).stroke_mL


def test_a_seed_draws_somebody() -> None:
    usual, one, again, other = (named_person(f"person:45f{s}").state for s in ("", ",seed=1", ",seed=1", ",seed=2"))
    assert one == again != other and one != usual


@pytest.mark.parametrize(("name", "said"), [
    ("person:", "'' is no age and sex"), ("person:f45", "'f45' is no age and sex"),
    ("person:45f,tall=3", "'tall=3' is no KEY=NUMBER"), ("person:45f,tone=much", "tone = 'much' is not a number"),
    ("person:45f,height_cm=300", "Person.height_cm = 300 cm is outside 120 … 220 cm"),
    ("person:45f,tone=nan", "Physiology.tone"), ("person:45f,seed=1.5", "seed = 1.5 must be a whole number"),
    ("person:45f,rate_per_min=500", "Physiology.rate_per_min = 500 1/min is outside 30 … 200"),
])
def test_what_is_wrong_is_said(name: str, said: str) -> None:
    with pytest.raises(InputError) as complaint:
        named_person(name)
    assert said in str(complaint.value) and "\n" not in str(complaint.value)


def test_record_and_raw_record_are_the_same_pressure() -> None:
    raw, record = raw_person("person:45f", 3.0, 4), named_record("person:45f", 1e-3, 3.0, 4)
    assert np.array_equal(raw.pressure_mmHg, record.finger_mmHg) and raw.name == "person:45f"
    assert len(raw.time_s) == 3001 and np.all(raw.good)


def test_a_finger_s_drive_moves_the_hand_along() -> None:
    assert driven_tone("person:45f", ToneDrive(), 1e-3, 10.0, 0.0, 1) is None
    drive = ToneDrive(change=1.0, onset_s=2.0, rise_s=0.5)
    course = driven_tone("person:45f,tone=0.5", drive, 1e-3, 10.0, 5.0, 1)
    assert course is not None and course.tone[0] == 0.5 and course.tone[-1] == pytest.approx(1.5, abs=1e-6)
    assert course.time_s[[0, -1]] == pytest.approx([5.0, 15.0])
    rest, driven = (named_record("person:45f,tone=0.5", 5e-3, 14.0, 1, c) for c in (None, course))
    early, late = slice(0, 1300), slice(2000, 2800)
    assert driven.finger_mmHg[early] == pytest.approx(rest.finger_mmHg[early], abs=1e-6)
    assert np.max(driven.finger_mmHg[late]) > np.max(rest.finger_mmHg[late]) + 0.5
