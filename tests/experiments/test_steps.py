"""How many Runge–Kutta steps a rig needs, and which part is blamed when they are too many."""
import pytest

from experiments.rig import clamp, load_rig
from experiments.steps import CURES, MOST_STEPS, fastest_part, steps_a_tick
from plant.errors import InputError
from plant.operating_point import part_twins, substeps_needed


def rig_and_point(*changes):
    rig = load_rig("wrist", list(changes))
    return rig, clamp(rig, 95.0, 0.0)


def test_an_ordinary_rig_needs_few():
    rig, point = rig_and_point()
    assert steps_a_tick(rig, point) == substeps_needed(rig.plant, [point], 0.001) <= 20


def test_every_part_has_a_cure():
    rig, point = rig_and_point()
    assert set(part_twins(rig.plant, point, "fill")) == set(CURES)
    assert {table for table, _ in CURES.values()} <= set(rig.plant._fields)


@pytest.mark.parametrize(("part", "changes"), [
    ("valve", ("valve.natural_frequency_Hz=1000.0", "valve.damping_ratio=3.0")),
    ("tissue", ("tissue.lag_s=0.0001",)),
    ("photodiode", ("light.bandwidth_Hz=5000.0",)),
    ("transducer", ("transducer.bandwidth_Hz=5000.0",)),
    ("tube", ("tube.valve_volume_mL=0.01", "valve.conductance=1.0")),
])
def test_the_fastest_part_is_found(part, changes):
    """The one part that was made much faster than all others is the one that is named."""
    assert fastest_part(*rig_and_point(*changes)) == part


def test_too_many_steps_are_refused():
    """A hundredth of a millilitre behind a wide open valve: the tube's first node is beyond following."""
    rig, point = rig_and_point("tube.valve_volume_mL=0.01", "tube.diameter_mm=0.3", "tube.length_m=0.01",
                               "valve.conductance=10.0", "timing.period_s=0.02", "timing.dead_time_s=0.0",
                               "controller.lead_zero_Hz=0.0", "controller.lead_pole_Hz=0.0",
                               "controller.method=backward_euler")
    with pytest.raises(InputError) as refusal:
        steps_a_tick(rig, point)
    text = str(refusal.value)
    assert text.startswith("rig wrist: [tube] is too fast for a tick of 0.02 s: ")
    assert f"at most {MOST_STEPS} are taken" in text
    assert "raise tube.valve_volume_mL" in text and "shorten timing.period_s" in text
