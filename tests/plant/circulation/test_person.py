import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.circulation.beds import OUTFLOW_mmHg
from plant.circulation.network import responses
from plant.circulation.person import (
    at_pressure,
    beds_of,
    body_surface_m2,
    carotid_femoral_m_s,
    drawn_person,
    person_of,
    scale_of,
    usual_physiology,
    velocity_m_s,
)
from plant.errors import InputError


def test_body_surface() -> None:
    assert body_surface_m2(170.0, 70.0) == pytest.approx(1.8097, abs=1e-4)
    assert body_surface_m2(180.0, 80.0) == pytest.approx(1.9964, abs=1e-4)


@given(st.floats(20, 85), st.sampled_from("fm"), st.floats(150, 195))
@settings(max_examples=15, deadline=None)
def test_the_arteries_have_the_velocity_and_the_mean_pressure(age, sex, height):
    person = person_of(age, sex, height)
    state = usual_physiology(person)
    scale = scale_of(person, state)
    assert carotid_femoral_m_s(scale) == pytest.approx(state.velocity_m_s, rel=1e-9)
    root = responses(scale, beds_of(scale, state), np.zeros(1)).root[0].real
    assert OUTFLOW_mmHg + root * state.stroke_mL * state.rate_per_min / 60 == pytest.approx(state.mean_mmHg, rel=1e-9)


def test_age_and_size() -> None:
    young, old = (usual_physiology(person_of(age, "m")) for age in (25.0, 75.0))
    assert old.stroke_mL < young.stroke_mL and old.velocity_m_s > 1.5 * young.velocity_m_s
    assert young.output_L_min == pytest.approx(1e-3 * young.stroke_mL * young.rate_per_min)
    assert usual_physiology(person_of(45, "f")).stroke_mL < usual_physiology(person_of(45, "m")).stroke_mL
    higher = at_pressure(person_of(75, "m"), old, old.mean_mmHg + 20.0)
    assert higher.mean_mmHg == old.mean_mmHg + 20.0 and higher.velocity_m_s > 1.1 * old.velocity_m_s
    assert velocity_m_s(45.0, 90.0) == pytest.approx(5.55 + 0.83e-3 * 45**2)
    stiff, soft = (scale_of(person_of(a, "m"), s).large_Pa for a, s in ((75, old), (25, young)))
    assert stiff > 2 * soft


def test_people_are_drawn_the_same_again_and_scatter() -> None:
    assert drawn_person(3) == drawn_person(3)
    people = [drawn_person(seed) for seed in range(200)]
    assert 0.35 < np.mean([p.female for p, _ in people]) < 0.65
    assert 9 < np.std([s.rate_per_min for _, s in people]) < 13
    assert all(20 <= p.age_years <= 80 for p, _ in people)


def test_bounds_are_named() -> None:
    with pytest.raises(InputError, match=r"Person.age_years = 5 years is outside 18 … 95"):
        person_of(5.0, "f")
    person = person_of(45.0, "m")
    with pytest.raises(InputError, match="velocity_m_s"):
        scale_of(person, usual_physiology(person)._replace(velocity_m_s=1000.0))
