import pytest

from experiments.readings.people.wearer import BUILD, Wearer, circulation, wearer_of
from plant.circulation.person import person_of


def test_the_usual_wearer_is_the_origin() -> None:
    assert Wearer().build.tolist() == [1.0, 0.0, -0.5, 0.0, 0.0] and len(BUILD) == 5
    assert circulation(90.0, 0.8).tolist() == [1.0, 0.0, 0.0]


def test_a_person_tells_who_it_is() -> None:
    wearer = wearer_of(person_of(70.0, "f", 160.0, 60.0))
    assert wearer == Wearer(70.0, 1.0, 160.0, 60.0) and wearer.build[1] == pytest.approx(1.0)
    assert Wearer(height_cm=170.0, weight_kg=70.0).surface_m2 == pytest.approx(1.8097, abs=1e-4)
