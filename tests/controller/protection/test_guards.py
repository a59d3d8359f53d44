"""Guards by name, from a rig file, and what they leave to the rig."""
import pytest

from controller.protection.guards import (
    PROTECTIONS,
    TABLES,
    Guards,
    guard_parts,
    guards_from,
    without,
)
from experiments.rigs.rig import load_rig
from plant.errors import InputError


def test_tables_and_parts_are_each_others_inverse():
    guards = load_rig("wrist", ["relief.cracking_mmHg=200", "no_pulse.most_s=7"]).guards
    assert guards.relief.cracking_mmHg == 200.0 and guards.protection.no_pulse.most_s == 7.0
    assert guards_from(guard_parts(guards)) == guards
    assert list(guard_parts(guards)) == list(TABLES) and {type(p) for p in guard_parts(guards).values()} == set(
        TABLES.values())


@pytest.mark.parametrize("name", PROTECTIONS)
def test_each_can_be_taken_away_alone(name):
    for found in (without(Guards(), name), load_rig("wrist", [f"{name}.enabled=false"]).guards):
        off = [n for n, part in guard_parts(found).items() if n in PROTECTIONS and not part.enabled]
        assert off == [name]


def test_an_unknown_one_is_refused():
    with pytest.raises(InputError, match="fire_brigade"):
        without(Guards(), "fire_brigade")
