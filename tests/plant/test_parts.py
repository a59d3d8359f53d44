"""A new variant of a part is one NamedTuple and its verbs: a valve written here runs in the plant as it stands."""
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import pytest
from numba import njit

from plant import declare
from plant.assembly import Course, Plant, PlantState, Surroundings, Switchover, initial_state, plant_rates, plant_tick
from plant.declare import declared, quantity
from plant.linear import Linear, linear
from plant.operating_point import clamp_point, plant_twin
from plant.parts import (
    ValveNature,
    ValveRest,
    line_end_volume,
    line_node,
    line_rates,
    valve_at_rest,
    valve_flows,
    valve_nature,
    valve_play,
    valve_rates,
    valve_slowed,
    valve_twin,
)
from plant.pneumatics.air import Air
from plant.pneumatics.flow_valve import FlowValve, flow_valve_flows, flow_valve_play, flow_valve_rates
from plant.pneumatics.pressure_valve import (
    PressureValve,
    pressure_valve_flows,
    pressure_valve_play,
    pressure_valve_rates,
)
from plant.pneumatics.supply import Supply, supply_equilibrium
from plant.pneumatics.tube import NoTube, Tube

REST = Surroundings(95.0, 0.0, 0.02)


class Bellows(NamedTuple):
    """A source of flow: the command, a lag behind, is a share of its largest flow."""

    lag_s: Annotated[float, quantity("s", 1e-4, 1, "lag behind the command", "invented")] = 0.01
    flow_mL_s: Annotated[float, quantity("mL/s", 0, 1000, "largest flow", "invented")] = 20.0


class BellowsState(NamedTuple):
    """The lagged command."""

    share: float


@pytest.fixture(scope="module")
def bellows() -> Iterator[type[Bellows]]:
    """The variant, registered; this file then no longer counts among what the other tests' cached code depends on."""

    @valve_rates.of(Bellows)
    def bellows_rates(valve: Bellows, state: BellowsState, command: float) -> BellowsState:
        return BellowsState((command - state.share) / valve.lag_s)

    @valve_flows.of(Bellows)
    def bellows_flows(
        valve: Bellows, air: Air, state: BellowsState, node_mmHg: float, supply_mmHg: float
    ) -> tuple[float, float]:
        flow = valve.flow_mL_s * state.share
        return flow, flow

    @valve_play.of(Bellows)
    def bellows_play(valve: Bellows, previous: float, command: float) -> float:
        return command

    @valve_nature.register
    def bellows_nature(valve: Bellows) -> ValveNature:
        return ValveNature(BellowsState(0.0), ("fill",), -1.0, "valve.flow_mL_s")

    @valve_at_rest.register
    def bellows_at_rest(
        valve: Bellows, air: Air, supply: Supply, outflow_mL_s: float, node_mmHg: float
    ) -> ValveRest:
        share = outflow_mL_s / valve.flow_mL_s
        return ValveRest(BellowsState(share), share, supply_equilibrium(supply, outflow_mL_s), True)

    @valve_twin.register
    def bellows_twin(
        valve: Bellows, air: Air, side: str, node_mmHg: float, supply_mmHg: float, command: float
    ) -> Linear:
        pole, whole = 1.0 / valve.lag_s, valve.flow_mL_s
        return linear(-pole, [[pole, 0.0, 0.0]], [[whole], [whole]], [[0.0] * 3] * 2,
                      "command node_pressure supply_pressure", "valve_flow supply_outflow", "bellows_share")

    yield Bellows
    declare._outside_sources.discard(Path(__file__).resolve())
    declare._place = None
    for dispatcher in declare._cached:
        declare._enable_cache(dispatcher)


@njit
def play(valve: Any, previous: float, command: float) -> float:
    return valve_play(valve, previous, command)


def ran(plant: Plant, command: float, ticks: int) -> PlantState:
    state = initial_state(plant, REST)
    for _ in range(ticks):
        state = plant_tick(plant, state, Course(REST, REST), Switchover(command, command, 0.0), 4, 1e-3)
    return state


def test_new_valve_runs_in_the_plant(bellows: type[Bellows]) -> None:
    """No source touched: the kernel compiles for the new class, whose state and flow follow the book."""
    plant = Plant(valve=bellows(), tube=NoTube())
    state = ran(plant, 0.5, 20)
    assert isinstance(state.valve, BellowsState)
    assert state.valve.share == pytest.approx(0.5 * -math.expm1(-2.0), rel=1e-5)
    assert state.cuff_mmHg > 1.0
    assert plant_rates(plant, state, REST, 0.5).valve.share > 0.0
    # what came is what the supply gave: volume of the lagged command, 10 mL/s (t − τ(1 − e^{−t/τ}))
    given_mL = 10.0 * (0.02 - 0.01 * -math.expm1(-2.0))
    assert state.supply_mmHg == pytest.approx(600.0 - given_mL * 1.2 * 750.06 / 150.0, abs=0.05)
    assert play(bellows(), 0.3, 0.7) == 0.7


def test_new_valve_works_with_any_line(bellows: type[Bellows]) -> None:
    """Variants combine freely, and the cuff can be emptied again."""
    plant = Plant(valve=bellows(), tube=Tube(0.1, 2.0, 1))
    assert ran(plant, 0.5, 30).line.flows_mL_s[0] > 0.0
    assert ran(plant, -0.1, 30).cuff_mmHg < 0.0


def test_new_valve_has_its_clamp_and_its_margins(bellows: type[Bellows]) -> None:
    """Operating point and coupled twin ask the valve by its verbs: at rest, and a gain that is the integrator's."""
    plant = Plant(valve=bellows(), tube=NoTube())
    point = clamp_point(plant, 90.0)
    rates = plant_rates(plant, point.state, point.around, point.command)
    assert rates.cuff_mmHg == pytest.approx(0.0, abs=1e-9) and rates.valve.share == 0.0
    pushed = point.state._replace(valve=BellowsState(point.command + 0.1))
    moved = plant_rates(plant, pushed, point.around, point.command)
    twin = plant_twin(plant, point)
    slope = twin.a[twin.states.index("cuff_pressure"), twin.states.index("bellows_share")]
    assert moved.cuff_mmHg / 0.1 == pytest.approx(slope, rel=1e-9)


def test_a_valve_without_its_verbs_is_named() -> None:
    """A class that registers nothing says so, with its name."""
    for verb, others in ((valve_nature, 0), (valve_at_rest, 4), (valve_twin, 5)):
        with pytest.raises(TypeError, match=f"NoTube registers no {verb.__name__}"):
            verb(NoTube(), *[0.0] * others)


def test_a_valve_that_does_not_say_what_slows_it() -> None:
    """The built-in ones do, and lose nothing but speed."""
    assert valve_slowed(NoTube(), 0.5) is None
    assert valve_slowed(FlowValve(), 0.5) == FlowValve(natural_frequency_Hz=60.0)
    assert valve_slowed(PressureValve(), 0.5) == PressureValve(natural_frequency_Hz=50.0)


def test_new_valve_is_declared_like_any_other(bellows: type[Bellows]) -> None:
    """Unit, bounds, meaning and source come from the same declaration."""
    assert [p.unit for p in declared(bellows)] == ["s", "mL/s"]


def test_its_source_counts(bellows: type[Bellows]) -> None:
    """An edit of this file must empty the cache of everything compiled with it."""
    assert Path(__file__).resolve() in declare._sources(Path(declare.__file__).parents[1])


def test_every_variant_answers_every_verb() -> None:
    """Valves answer three verbs, lines answer three."""
    for verb in (valve_rates, valve_flows, valve_play):
        assert {FlowValve, PressureValve} <= set(verb.implementations)
    for plain in (valve_nature, valve_at_rest, valve_twin):
        assert {FlowValve, PressureValve} <= set(plain.registry)
    for verb in (line_rates, line_node, line_end_volume):
        assert {Tube, NoTube} <= set(verb.implementations)


def test_a_verb_is_its_parts_own_function() -> None:
    """Dispatch by class, interpreted and compiled alike."""
    flow, pressure = FlowValve(hysteresis=0.1), PressureValve(hysteresis=0.2)
    assert valve_play(flow, 0.0, 0.3) == flow_valve_play(flow, 0.0, 0.3) == play(flow, 0.0, 0.3)
    assert valve_play(pressure, 0.0, 0.3) == pressure_valve_play(pressure, 0.0, 0.3) == play(pressure, 0.0, 0.3)
    assert play(flow, 0.0, 0.3) != play(pressure, 0.0, 0.3)
    assert valve_rates.implementations[FlowValve] is flow_valve_rates
    assert valve_flows.implementations[FlowValve] is flow_valve_flows
    assert valve_rates.implementations[PressureValve] is pressure_valve_rates
    assert valve_flows.implementations[PressureValve] is pressure_valve_flows
