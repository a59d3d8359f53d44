"""Openings: the plain plant when shut, its own linear flows when open."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from plant.assembly import (
    Course,
    Held,
    Plant,
    Surroundings,
    Switchover,
    initial_state,
    plant_rates,
    plant_tick,
    system_vessel,
)
from plant.pneumatics.air import Air, restriction_flow
from plant.pneumatics.openings import (
    Openings,
    OpenPlant,
    OpenPlantState,
    cuff_per_flow,
    first_volume,
    is_busy,
    least_steps,
    open_plant_rates,
    opened,
    opened_rates,
    with_node_rate,
)
from plant.pneumatics.relief import Relief
from plant.pneumatics.supply import Supply, pump_flow, supply_rate
from plant.pneumatics.tube import LineState, NoLineState, NoTube, Tube

SHUT = Openings(0.0, 0.0, 0.0, 0.3, False, False)
AROUND = Surroundings(95.0, 0.0, 0.02)
RISING = Course(AROUND, Surroundings(140.0, 0.0, 0.02))
HERE, STILL = Course(AROUND, AROUND), Switchover(0.0, 0.0, 0.0)
PLANTS = [Plant(), Plant(tube=NoTube()), Plant(tube=Tube(sections=4, length_m=0.6))]


def filled(plant, pressure):
    """A plant with this pressure everywhere in line and cuff."""
    state = initial_state(plant, AROUND)
    line = state.line
    if hasattr(line, "pressures_mmHg"):
        line = line._replace(pressures_mmHg=(pressure,) * len(line.pressures_mmHg))
    return state._replace(cuff_mmHg=pressure, line=line)


def node_rate(plant, rates):
    return rates.line.pressures_mmHg[0] if hasattr(rates.line, "pressures_mmHg") else rates.cuff_mmHg


@pytest.mark.parametrize("plant", PLANTS, ids=["one section", "no tube", "four sections"])
@given(st.floats(-1.0, 1.0), st.floats(0.0, 250.0), st.floats(0.0, 1.0))
@settings(max_examples=15, deadline=None)
def test_shut_is_the_plain_plant_to_the_bit(plant, command, pressure, share):
    state = filled(plant, pressure)
    plain = plant_tick(plant, state, RISING, Switchover(0.0, command, share), 5, 0.001)
    found = plant_tick(opened(plant, Relief(), SHUT, 0.0), OpenPlantState(state, 0.0), RISING,
                       Switchover(0.0, command, share), 5, 0.001)
    assert str(found.plant) == str(plain) and found.lift == 0.0


@pytest.mark.parametrize("plant", PLANTS, ids=["one section", "no tube", "four sections"])
@given(st.floats(1e-3, 1.0), st.floats(1.0, 400.0))
@settings(max_examples=15, deadline=None)
def test_what_an_opening_takes_is_missing_where_it_is(plant, conductance, pressure):
    """The rate falls by flow times pressure per flow: at the node by its own air, at the cuff by the cuff's."""
    state = filled(plant, pressure)
    plain = plant_rates(plant, state, AROUND, 0.0)
    flow = restriction_flow(Air(), conductance, 0.3, pressure, 0.0)
    for where in ("node", "cuff"):
        system = OpenPlant(plant, Relief(), SHUT._replace(**{where: conductance}), True)
        held = Held(0.0, system_vessel(system, AROUND.tone))
        found = open_plant_rates(system, OpenPlantState(state, 0.0), AROUND, held).plant
        at_node = where == "node" and first_volume(plant.tube) > 0.0
        per_flow = 1.2 * 750.0637 / first_volume(plant.tube) if at_node else cuff_per_flow(plant, pressure)
        changed = node_rate(plant, found) - node_rate(plant, plain) if at_node else found.cuff_mmHg - plain.cuff_mmHg
        assert changed == pytest.approx(-flow * per_flow, rel=1e-4)
        assert found.supply_mmHg == plain.supply_mmHg


def test_a_feed_takes_from_the_supply_what_it_gives_to_the_line():
    plant = Plant()
    state = filled(plant, 100.0)
    plain = plant_rates(plant, state, AROUND, 0.0)
    opened = opened_rates(OpenPlant(plant, Relief(), SHUT._replace(feed=0.01), True), OpenPlantState(state, 0.0), plain)
    taken = (plain.supply_mmHg - opened.supply_mmHg) * plant.supply.volume_mL
    given_ = (node_rate(plant, opened) - node_rate(plant, plain)) * first_volume(plant.tube)
    assert taken == pytest.approx(given_, rel=1e-9) and taken > 0.0


@given(st.floats(0.0, 1300.0))
def test_a_dead_pump_is_the_supply_without_one(pressure):
    supply, air = Supply(), Air()
    dead = supply_rate(supply._replace(pump_flow_mL_s=0.0), air, pressure, 3.0)
    alive = supply_rate(supply, air, pressure, 3.0)
    per_flow = -supply_rate(supply._replace(pump_flow_mL_s=0.0), air, pressure, 1.0)
    assert alive - pump_flow(supply, pressure) * per_flow == pytest.approx(dead, abs=1e-9)


def test_a_relief_valve_lifts_and_lets_air_out_on_either_end():
    for at_cuff in (False, True):
        plant, relief = Plant(), Relief(at_cuff=at_cuff)
        state = OpenPlantState(filled(plant, 320.0), 0.0)
        for _ in range(20):
            open_ = Openings(0.0, 0.0, 0.0, 0.3, False, True)
            state = plant_tick(opened(plant, relief, open_, state.lift), state, HERE, STILL, 20, 0.001)
        assert 0.0 < state.lift <= 1.0 and state.plant.cuff_mmHg < 300.0


def test_busy_says_whether_anything_is_open():
    assert not is_busy(SHUT, 0.0)
    for change in ({"node": 1e-6}, {"cuff": 1e-6}, {"feed": 1e-6}, {"pump_dead": True}, {"relief_open": True}):
        assert is_busy(SHUT._replace(**change), 0.0)
    assert is_busy(SHUT, 1e-9)


@pytest.mark.parametrize("place", ["node", "cuff"])
@given(conductance=st.floats(0.01, 2.0))
@settings(max_examples=15, deadline=None)
def test_enough_steps_keep_a_wide_opening_stable(place, conductance):
    """With the steps that are asked for, a cuff on a wide opening empties and does not ring or blow up."""
    plant = Plant()
    steps = least_steps(plant, conductance, 0.001, at_cuff=place == "cuff")
    state, lowest = OpenPlantState(filled(plant, 200.0), 0.0), 200.0
    for _ in range(150):
        wide = SHUT._replace(**{place: conductance})
        state = plant_tick(opened(plant, Relief(), wide, state.lift), state, HERE, STILL, steps + 4, 0.001)
        lowest = min(lowest, state.plant.cuff_mmHg)
    assert np.isfinite(state.plant.cuff_mmHg) and lowest > -60.0
    assert abs(state.plant.cuff_mmHg) < 200.0


@pytest.mark.parametrize("place", ["node", "cuff"])
@pytest.mark.parametrize("conductance", [0.05, 0.5, 2.0])
def test_steps_follow_from_the_steepest_slope(place, conductance):
    """|λ| times the step is 2 at most, and not much less: λ by differences, next to ambient pressure."""
    plant, tiny = Plant(tube=Tube(valve_volume_mL=0.1)), 0.01
    rates = []
    for pressure in (0.0, tiny):
        state = OpenPlantState(filled(plant, pressure), 0.0)
        plain = plant_rates(plant, state.plant, AROUND, 0.0)
        wide = OpenPlant(plant, Relief(), SHUT._replace(**{place: conductance}), True)
        found = opened_rates(wide, state, plain)
        rates.append(node_rate(plant, found) - node_rate(plant, plain) if place == "node"
                     else found.cuff_mmHg - plain.cuff_mmHg)
    pole = (rates[0] - rates[1]) / tiny
    steps = least_steps(plant, conductance, 0.001, at_cuff=place == "cuff")
    assert pole * 0.001 / steps <= 2.1
    assert steps == 1 or pole * 0.001 / (steps - 1) > (1.9 if place == "node" else 0.2)


@njit
def with_more(line, change):
    return with_node_rate(line, change)


@pytest.mark.parametrize("sections", [1, 2, 3])
def test_only_the_first_node_of_a_line_is_touched(sections):
    """Compiled and interpreted; a line without nodes is left alone."""
    line = LineState(tuple(10.0 * (i + 1) for i in range(sections)), (1.0,) * sections)
    expected = line._replace(pressures_mmHg=(12.5, *line.pressures_mmHg[1:]))
    assert with_more(line, 2.5) == with_node_rate(line, 2.5) == expected
    assert with_more(NoLineState(3.0), 2.5) == with_node_rate(NoLineState(3.0), 2.5) == NoLineState(3.0)
