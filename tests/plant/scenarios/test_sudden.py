"""Sudden events: nothing before the onset, in proportion to their severity, one list for scenarios and failures."""
import numpy as np
import pytest

from experiments.safety.faults.physiology import PHYSIOLOGIES
from plant.errors import InputError
from plant.finger.tone import ToneDrive
from plant.pressure.synthetic import STEADY, SyntheticPressure, synthesise
from plant.scenarios.scenario import SCENARIOS, Scenario, scenario_inputs
from plant.scenarios.sudden import COURSES, OF_THE_HAND, HEIGHTS_m, Perfused, Sudden
from plant.units import hydrostatic_mmHg

PERIOD = 2e-3
PRESSURE = synthesise(STEADY, PERIOD, 60.0, 3).pressure_mmHg
SINCE = np.arange(len(PRESSURE)) * PERIOD - 20.0
FINGER = Perfused(PRESSURE, np.zeros(len(PRESSURE)))


@pytest.mark.parametrize("name", COURSES)
def test_nothing_before_the_onset_and_nothing_at_no_severity(name: str) -> None:
    after, none = COURSES[name](FINGER, SINCE, 1.0), COURSES[name](FINGER, SINCE, 0.0)
    for one, whole, nothing in zip(FINGER, after, none, strict=True):
        assert np.allclose(one[SINCE <= 0.0], whole[SINCE <= 0.0], atol=1e-9)
        assert np.allclose(one, nothing, atol=1e-9)
    assert any(np.max(np.abs(one - whole)) > 0.1 for one, whole in zip(FINGER, after, strict=True))


@pytest.mark.parametrize("name", COURSES)
def test_the_more_severe_the_larger(name: str) -> None:
    half, whole = COURSES[name](FINGER, SINCE, 0.5), COURSES[name](FINGER, SINCE, 1.0)
    change = [sum(float(np.std(a - b)) for a, b in zip(some, FINGER, strict=True)) for some in (half, whole)]
    assert 0.3 * change[1] < change[0] < 0.8 * change[1]


def test_one_list() -> None:
    """What a study of failures calls physiology is every sudden scenario, and a quiet finger."""
    sudden = {name for name, scenario in SCENARIOS.items() if scenario.sudden}
    assert {fault.name for fault in PHYSIOLOGIES} == {"quiet", *sudden} and sudden == set(COURSES)


def told(name: str, seconds: float = 80.0):
    return scenario_inputs(name, SyntheticPressure(), ToneDrive(), 0.02, PERIOD, seconds, 3)


@pytest.mark.parametrize("name", COURSES)
def test_a_scenario_plays_it_at_its_share_of_the_run(name: str) -> None:
    quiet, event = told("quiet"), told(name)
    at = round(0.25 * 80.0 / PERIOD)
    for one, other in ((quiet.arterial_mmHg, event.arterial_mmHg), (quiet.tone, event.tone)):
        assert np.allclose(one[:at], other[:at], atol=1e-9)
    assert (20.0, name.replace("_", " ")) in event.marks


def test_a_hand_moves_against_the_heart_and_a_cough_with_it() -> None:
    low, cough = told("hand_lowered"), told("cough")
    assert low.height_m[-1] == pytest.approx(-0.4) and set(HEIGHTS_m) < set(OF_THE_HAND)
    assert (low.arterial_mmHg - low.heart_mmHg)[-1] == pytest.approx(hydrostatic_mmHg(0.4))
    assert np.array_equal(low.heart_mmHg, told("quiet").heart_mmHg)
    assert np.array_equal(cough.arterial_mmHg, cough.heart_mmHg)


def test_an_unknown_course_is_refused() -> None:
    with pytest.raises(InputError, match="course = 'sneeze' is not known; use one of hypotension"):
        scenario_inputs(Scenario("s", "a", "b", "c", (Sudden("sneeze"),)), STEADY, ToneDrive(), 0.0, PERIOD, 10.0, 1)
