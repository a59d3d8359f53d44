import numpy as np
import pytest

from plant.circulation.person import usual_physiology
from plant.circulation.person_name import is_person, named_person, named_record, raw_person
from plant.errors import InputError


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
