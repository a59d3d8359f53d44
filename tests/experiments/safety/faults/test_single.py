"""Named failures in a single run."""
import numpy as np
import pytest

from experiments.rigs.rig import load_rig
from experiments.safety.faults.single import simulate_failing, trouble_of
from experiments.simulation.simulate import Plan
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

RIG = load_rig("wrist")
FILLED = Plan(fill_s=7.0, settle_s=0.5)
TRACE = synthesise(SyntheticPressure(), 0.001, 10.5, 1)


def test_a_named_failure_begins_three_seconds_into_the_clamp():
    calm = simulate_failing(RIG, TRACE, plan=FILLED)
    found = simulate_failing(RIG, TRACE, "valve_stuck_open:0.9", plan=FILLED)
    cuff, still = found.run.channels["cuff_mmHg"], calm.run.channels["cuff_mmHg"]
    assert np.array_equal(cuff[:10_000], still[:10_000]) and np.max(cuff[10_000:]) > np.max(still[10_000:]) + 20.0
    assert calm.run.status in ("done", "saturated") and set(calm.acted.values()) == {-1.0}
    assert "pressure_rate" in [name for name, at in found.acted.items() if at >= 0.0]


def test_two_together_and_a_protection_missing():
    found = simulate_failing(RIG, TRACE, "valve_stuck_open,processor_hung", 8.0, ("watchdog",), FILLED)
    assert found.acted["watchdog"] == -1.0 and found.acted["pressure_rate"] == -1.0
    assert found.figures["highest_mmHg"] > 250.0 and found.acted["relief"] >= 0.0  # all that is left


def test_what_is_there_from_the_start_begins_with_the_run():
    assert trouble_of(RIG, "gains_low").onset_s == 0.0 and trouble_of(RIG, "cough", 4.0).onset_s == 4.0
    assert trouble_of(RIG, "motion_artefact").duration_s == 5.0 and trouble_of(RIG, "").duration_s == np.inf
    with pytest.raises(InputError, match="from the start"):
        trouble_of(RIG, "gains_low", 4.0)


@pytest.mark.parametrize(("more", "word"), [
    ({"failures": "valve_stuck"}, "valve_stuck"), ({"failures": "cough:2"}, "severity"),
    ({"failures": "cough", "onset_s": 99.0}, "onset"), ({"failures": "cough", "lost": ("airbag",)}, "airbag"),
])
def test_nonsense_is_refused(more, word):
    with pytest.raises(InputError, match=word):
        simulate_failing(RIG, TRACE, plan=FILLED, **more)
