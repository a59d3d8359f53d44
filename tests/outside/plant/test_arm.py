"""The virtual arm against what others measured in people.

- Transfer functions from the ascending aorta to the upper arm, 14 people: Karamanoglu, O'Rourke, Avolio & Kelly, Eur
  Heart J 1993;14:160, read off the figure by the repository peterhcharlton/transfer_functions (MIT), perhaps ± 10 %.
- Central to peripheral systolic amplification falls with age (same paper: 20 ± 3 mmHg in its people; from memory).
"""
import numpy as np
import pytest

from plant.circulation.network import responses
from plant.circulation.person import beds_of, person_of, scale_of, usual_physiology
from plant.circulation.state import steady_state

GAIN = np.array([1, 1.075, 1.188, 1.788, 2.5, 2.275, 2.181, 2.65, 2.35, 1.994])
PHASE_deg = np.array([0, -5.3, -15.9, -33.8, -79.3, -100.5, -130.1, -147, -172.4, -204.1])


def arm(age, sex):
    person = person_of(age, sex)
    state = usual_physiology(person)
    scale = scale_of(person, state)
    found = responses(scale, beds_of(scale, state), np.arange(10.0))
    return found.arm / found.root


@pytest.mark.parametrize("sex", ["f", "m"])
def test_aorta_to_upper_arm_at_55_years(sex: str) -> None:
    """0.49 and 0.41, 23 and 11 degrees at worst, measured here."""
    gain = arm(55.0, sex)
    assert np.max(np.abs(np.abs(gain) - GAIN)) <= 0.5
    assert np.max(np.abs(np.degrees(np.unwrap(np.angle(gain))) - PHASE_deg)) <= 30.0


def test_the_mean_of_people_in_their_fifties() -> None:
    gains = [arm(age, sex) for age in (50.0, 52.5, 55.0, 57.5, 60.0) for sex in "fm"]
    assert np.max(np.abs(np.mean(np.abs(gains), axis=0) - GAIN)) <= 0.5
    phases = [np.degrees(np.unwrap(np.angle(gain))) for gain in gains]
    assert np.max(np.abs(np.mean(phases, axis=0) - PHASE_deg)) <= 30.0


def test_amplification_falls_with_age() -> None:
    rises = []
    for age in (25.0, 45.0, 75.0):
        person = person_of(age, "m")
        found = steady_state(person, usual_physiology(person))
        rises.append(float(np.max(found.arm_mmHg) - np.max(found.aortic_mmHg)))
    assert rises[0] > rises[1] > rises[2] > 5.0 and 12.0 < rises[1] < 26.0
