"""The pneumatics alone: what the whole plant has of them, to the last bit, and a rest that stays."""
import numpy as np
import pytest

from plant.assembly import Plant, Surroundings, initial_state, plant_rates
from plant.numerics.layout import leaves
from plant.pneumatics.assembly import Pneumatics, PneumaticState, pneumatic_rates, pneumatics_at_rest
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube, Tube

AROUND = Surroundings(90.0, 0.0, 0.0)
PLANTS = [Plant(), Plant(valve=PressureValve(), tube=Tube(sections=3)), Plant(tube=NoTube())]


def of(plant):
    return Pneumatics(plant.valve, plant.supply, plant.air, plant.tube, plant.cuff, plant.transducer)


def part(state):
    return PneumaticState(state.supply_mmHg, state.valve, state.line, state.cuff_mmHg, state.cuff_mL,
                          state.reading_mmHg)


@pytest.mark.parametrize("plant", PLANTS, ids=["flow", "pressure", "no tube"])
def test_the_plant_moves_as_its_pneumatics_do(plant):
    """The same rates to the last bit, though only one of the two has a finger."""
    state = initial_state(plant, AROUND)
    for k, command in enumerate((0.3, 0.05, 0.6)):
        state = state._replace(cuff_mmHg=20.0 * k, reading_mmHg=15.0 * k)
        assert part(plant_rates(plant, state, AROUND, command)) == pneumatic_rates(of(plant), part(state), command)


@pytest.mark.parametrize("plant", PLANTS, ids=["flow", "pressure", "no tube"])
def test_an_empty_rest_stays(plant):
    rates = pneumatic_rates(of(plant), pneumatics_at_rest(of(plant)), 0.0)
    assert np.allclose([value for _, value in leaves(rates)], 0.0, atol=1e-9)


def test_a_full_rest_only_leaks():
    """With a pressure valve shut off by its own pressure, what is lost is the cuff's leak."""
    pneumatics = Pneumatics(valve=PressureValve(), tube=Tube(sections=2))
    state = pneumatics_at_rest(pneumatics, 80.0)
    state = state._replace(valve=type(state.valve)(80.0, 0.0))
    rates = pneumatic_rates(pneumatics, state, 80.0 / pneumatics.valve.range_mmHg)
    assert rates.cuff_mL == -pneumatics.cuff.leak_mL_s_mmHg * 80.0 and rates.cuff_mmHg < 0.0
    assert abs(rates.line.pressures_mmHg[0]) < 1e-9
