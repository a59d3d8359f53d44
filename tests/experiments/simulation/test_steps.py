"""How many Runge–Kutta steps a rig needs, and which part is blamed when they are too many."""
import numpy as np
import pytest

from calibrate.protocol import Clamp, Hold, Instrument
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.session import COLUMN, Session
from experiments.simulation.steps import (
    CURES,
    MOST_STEPS,
    REACH,
    fastest_part,
    few_steps,
    protected_steps,
    steps_a_tick,
)
from plant.assembly import Inputs
from plant.errors import InputError
from plant.operating_point import part_twins, plant_twin, substeps_needed


def rig_and_point(*changes):
    rig = load_rig("wrist", list(changes))
    return rig, clamp(rig, 95.0, 0.0)


def test_an_ordinary_rig_needs_few():
    rig, point = rig_and_point()
    assert steps_a_tick(rig, point) == substeps_needed(rig.plant, [point], 0.001) <= 20


@pytest.mark.parametrize(("name", "changes"), [
    ("wrist", ()), ("cabinet", ()), ("wrist", ("tube.valve_volume_mL=0.03",)),
    ("wrist", ("transducer.bandwidth_Hz=2000.0",)),
])
def test_few_steps_are_stable(name, changes):
    """Classical Runge–Kutta multiplies a mode by the first five terms of exp (Kutta 1901): no mode may grow."""
    rig = load_rig(name, list(changes))
    point = clamp(rig, 95.0, 0.0)
    steps = few_steps(rig, point)
    assert 2 <= steps <= steps_a_tick(rig, point)
    for side in ("fill", "vent"):
        for case in (point, point._replace(command=1.0), point._replace(command=-1.0)):
            z = np.linalg.eigvals(plant_twin(rig.plant, case, side).a) * rig.timing.period_s / steps
            assert np.max(np.abs(1 + z + z**2 / 2 + z**3 / 6 + z**4 / 24)) < 1.0 + 1e-9
            assert np.max(np.abs(z)) <= REACH


def test_few_steps_follow_as_closely_as_many():
    """A clamp with 2 steps a tick and with 12: slow errors, which are what hours of simulation are for, agree."""
    rig, point = rig_and_point()
    time = np.arange(8001) * 0.001
    inputs = Inputs(90.0 + 15.0 * np.sin(2.0 * np.pi * 1.2 * time), np.zeros(8001), np.full(8001, 0.02))
    cuffs = []
    for steps in (few_steps(rig, point), 12, 24):
        one = Session(rig, inputs, 1, steps)
        instrument = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j)
        one.ask(Hold(90.0, 2.0), instrument)
        one.ask(Clamp(float(point.light), abs(float(point.light_slope)), 6.0), instrument)
        cuffs.append(one.blocks[1][1000:, COLUMN["cuff_mmHg"]])
    few, many, reference = cuffs
    assert np.sqrt(np.mean((few - reference) ** 2)) < 0.15  # the converters' steps alone make 0.01 … 0.1 of it
    assert abs(np.mean(few - reference)) < 0.02 and abs(np.mean(many - reference)) < 0.02


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


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_more_steps_when_something_is_open(name):
    rig = load_rig(name)
    usual, fine = protected_steps(rig.plant, rig.guards, clamp(rig, 95.0, 0.0), rig.timing)
    assert 4 <= usual < fine <= 60
