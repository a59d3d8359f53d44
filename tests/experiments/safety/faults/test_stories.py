"""Scenarios as a search for false alarms."""
import numpy as np
import pytest

from controller.tick.firmware import CLAMP, FILL
from experiments.rigs.rig import load_rig
from experiments.safety.faults.stories import RIGHTLY, Story, bounded_story, story_faults, story_orders, tell
from experiments.safety.faults.trial import set_point_of
from experiments.simulation.outcome import Limits
from experiments.subjects.finger import finger_inputs, on_finger
from experiments.subjects.population import sample_fingers
from plant.assembly import Inputs
from plant.errors import InputError
from plant.scenarios.scenario import SCENARIOS

FINGER = sample_fingers(1)[0]


def test_every_scenario_is_an_entry():
    assert [f.name for f in story_faults(Story(600.0))] == [
        f"scenario_{name}" for name, scenario in SCENARIOS.items() if not scenario.sudden]
    assert set(RIGHTLY) < set(SCENARIOS)


@pytest.mark.parametrize("name", ["quiet", "hand"])
def test_a_quiet_minute_trips_nothing(name):
    outcome, lasted = tell(load_rig("wrist"), FINGER, name, Story(60.0, 10.0, 25.0), 1, Limits())
    assert outcome.caught_by == "" and lasted == pytest.approx(60.0)


def test_a_lamp_is_noticed():
    """It is switched on at 0.3 of the minute."""
    outcome, lasted = tell(load_rig("wrist"), FINGER, "light", Story(60.0), 1, Limits())
    assert outcome.figures["detected_s"] == pytest.approx(18.0, abs=0.1) and lasted < 60.0


def test_the_set_point_follows_late_and_never_jumps():
    """Filled at first and anew; in a clamp it moves from window to window, behind what was true of the last one."""
    own = on_finger(load_rig("wrist"), FINGER)
    inputs = finger_inputs(own, FINGER, 120.0)
    drifting = inputs._replace(tone=inputs.tone + np.linspace(0.0, 1.0, len(inputs.tone)))
    orders = story_orders(own, drifting, Story(120.0, 10.0, 60.0))
    filling = orders.mode == FILL
    assert np.sum(filling) == 2 * 12_000 and orders.mode[-1] == CLAMP and np.all(filling[60_000:72_000])
    steps = np.abs(np.diff(orders.set_point)) / orders.light_slope[1:]
    assert np.max(np.delete(steps, 60_000 - 1)) < 0.05  # mmHg a tick, but where the cuff is filled anew
    assert len(np.unique(orders.set_point[12_000:22_000])) == 1
    looks = [set_point_of(own, Inputs(*(c[k : k + 2_001] for c in drifting))) for k in range(32_000, 42_000, 2_000)]
    assert orders.set_point[52_000] == pytest.approx(np.mean([light for _, light, _ in looks]), rel=1e-9)


def test_a_slope_that_goes_up_and_down_with_waves_is_known_by_its_mean():
    """By the slope at the mean tone alone, less than the mean of slopes, a loop swings where tone is lowest."""
    own = on_finger(load_rig("wrist"), FINGER)
    inputs = finger_inputs(own, FINGER, 60.0)
    waves = inputs._replace(tone=inputs.tone + 0.6 * np.sin(0.2 * np.pi * np.arange(len(inputs.tone)) * 1e-3))
    slope = story_orders(own, waves, Story(60.0)).light_slope[42_000]
    lowest, mean = (set_point_of(own, waves.part(22_000, 32_000)._replace(tone=np.full(10_001, tone)))[2]
                    for tone in (np.min(waves.tone), np.mean(waves.tone)))
    assert 1.1 * mean < slope < 0.9 * lowest


@pytest.mark.parametrize("minutes", [-1.0, 0.5, 601.0, float("nan")])
def test_minutes_that_make_no_sense(minutes):
    with pytest.raises(InputError, match="stories"):
        bounded_story(minutes)
    assert bounded_story(0.0) is None and bounded_story(2.0) == Story(120.0)
