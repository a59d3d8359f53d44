"""Natural steps: inside their bounds, of the right size, and named for every part that a loop is made of."""
import pytest

from experiments.design.budget.natural_steps import ADDED, TIMES, natural_step
from experiments.rigs.rig import KINDS, PLAIN, load_rig
from experiments.rigs.table import rig_parts
from plant.declare import declared

CLASSES = [(table, part) for table, part in PLAIN.items()] + [(t, p) for t, ks in KINDS.items() for p in ks.values()]


def parameters(rig):
    return [(table, p, getattr(part, p.name)) for table, part in rig_parts(rig).items() for p in declared(type(part))]


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_every_step_can_be_taken(name):
    for table, parameter, value in parameters(load_rig(name)):
        step = natural_step(table, parameter, value)
        if step is not None:
            assert parameter.low <= step.value <= parameter.high and step.value != value and step.words
            assert type(step.value) is type(value)


def test_ten_centimetres_and_one_bit():
    found = {f"{t}.{p.name}": natural_step(t, p, v) for t, p, v in parameters(load_rig("wrist"))}
    assert found["tube.length_m"].value == pytest.approx(0.15) and found["tube.length_m"].words == "10 cm more tube"
    assert found["light.bits"].value == 15 and "one bit less" in found["light.bits"].words
    assert found["valve.natural_frequency_Hz"].value == pytest.approx(315.0)
    assert found["artery.creep_time_s"].words == "10 % more artery.creep_time_s"
    for name in ("transducer.at_valve_end", "controller.form", "light.flicker", "controller.output_high"):
        assert found[name] is None


def test_names_are_of_parameters_that_exist():
    known = {(table, p.name) for table, part in CLASSES for p in declared(part)}
    assert set(ADDED) | set(TIMES) <= known and not set(ADDED) & set(TIMES)


def test_no_bit_can_be_taken_from_a_converter_without_steps():
    bits = next(p for p in declared(PLAIN["light"]) if p.name == "bits")
    assert natural_step("light", bits, 0) is None and natural_step("light", bits, 1).value == 0
