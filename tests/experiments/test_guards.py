"""Guards by name, from a rig file, and what they leave to the rig."""
import pytest

from experiments.guards import (
    PROTECTIONS,
    TABLES,
    Guards,
    armed,
    guard_parts,
    guarded_steps,
    guards_from,
    without,
)
from experiments.rig import clamp, load_rig
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


def test_what_is_left_to_the_rig():
    """A flow rig's firmware believes in a rate, a pressure rig's in a range; the band lies round the supply."""
    for name, kind in (("wrist", "rate_mmHg_s"), ("cabinet", "range_mmHg")):
        rig = load_rig(name)
        found = armed(rig.guards, rig.plant, rig.stage).protection
        beliefs = found.response.rate_mmHg_s, found.response.range_mmHg
        assert sum(b > 0.0 for b in beliefs) == 1 and getattr(found.response, kind) > 0.0
        supply = rig.plant.supply.pressure_mmHg
        assert found.supply_range.lowest_mmHg < supply < found.supply_range.highest_mmHg
    rig = load_rig("wrist", ["response.rate_mmHg_s=123", "supply_range.lowest_mmHg=50"])
    found = armed(rig.guards, rig.plant, rig.stage).protection
    assert found.response.rate_mmHg_s == 123.0 and found.supply_range.lowest_mmHg == 50.0


def test_the_believed_rate_is_the_plants():
    """n p_ref q/(V + n p dV/dp) with the rig's own 20 mL/s, bladder and line: within what a hand calculation rounds."""
    rig = load_rig("wrist")
    volume = 2.5 + 0.1 * 90.0 / 240.0 + 0.12 + 0.0884
    growth = 0.1 * 150.0 / 240.0**2
    rate = 1.2 * 750.06 * 20.0 / (volume + 1.2 * 850.0 * growth)
    assert armed(rig.guards, rig.plant, rig.stage).protection.response.rate_mmHg_s == pytest.approx(rate, rel=2e-3)


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_more_steps_when_something_is_open(name):
    rig = load_rig(name)
    usual, fine = guarded_steps(rig.plant, rig.guards, clamp(rig, 95.0, 0.0), rig.timing)
    assert 4 <= usual < fine <= 60
