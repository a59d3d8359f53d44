"""The clamp as a point of rest, the coupled twin as the Jacobian of the compiled plant, and the substeps it needs."""
import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.assembly import Course, Plant, PlantState, Surroundings, Switchover, arterial_area, plant_rates, plant_tick
from plant.electronics.transducer import Transducer
from plant.errors import InputError
from plant.finger.artery import Artery, static_area, static_compliance, unloaded_pressure
from plant.finger.light import Light, light_intensity
from plant.finger.segment import Segment, segment_at_rest
from plant.finger.tissue import Tissue
from plant.finger.vein import Vein
from plant.linear import Linear
from plant.operating_point import (
    OUTPUTS,
    OperatingPoint,
    clamp_point,
    fastest_pole,
    part_twins,
    plant_twin,
    substeps_needed,
    wide_open,
)
from plant.parts import line_node
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve, SpoolState
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import NoTube, Tube

few = settings(max_examples=30, deadline=None)
Flatten = Callable[[Any], list[float]]
Refill = Callable[[Any, Any], Any]


def in_range(part: type, **fields: tuple[float, float] | st.SearchStrategy) -> st.SearchStrategy:
    """Random parts: the fields named here within these bounds, the others at their defaults."""
    drawn = {name: of if isinstance(of, st.SearchStrategy) else st.floats(*of) for name, of in fields.items()}
    return st.fixed_dictionaries(drawn).map(lambda values: part(**values))


flow_valves = in_range(
    FlowValve, natural_frequency_Hz=(20, 300), damping_ratio=(0.3, 1.5), dead_band=(0, 0.1), conductance=(0.02, 0.3),
    critical_ratio=(0.1, 0.5), bleed_conductance=st.sampled_from([0.0, 0.003, 0.015]),
)
pressure_valves = in_range(
    PressureValve, natural_frequency_Hz=(20, 300), damping_ratio=(0.3, 1.5), range_mmHg=(250, 500),
    outlet_resistance_mmHg_s_mL=(0.1, 10),
)
plain_tubes = in_range(Tube, length_m=(0.05, 2), diameter_mm=(1.5, 4), valve_volume_mL=(0.1, 3), loss_factor=(0.5, 3))
tubes = st.one_of(st.just(NoTube()), plain_tubes, plain_tubes.map(lambda tube: tube._replace(sections=3)))
rigs = in_range(
    Plant,
    tissue=in_range(Tissue, transmission=(0.6, 1), lag_s=(5e-4, 0.02)),
    artery=in_range(
        Artery, unloaded_mmHg=(-10, 20), half_width_mmHg=(5, 40), fast_fraction=(0.3, 0.95), creep_time_s=(0.5, 30),
        tone_viscosity=(0, 2), collapse_ratio=(0.3, 1.5)),
    segment=in_range(Segment, length_mm=(6, 30), window_mm=(0.5, 5), diameter_mm=(0.7, 2), outer_speed_m_s=(4, 15)),
    vein=in_range(Vein, least_volume=(0, 0.8), squeeze_mmHg=(10, 80), emptying_s=(0.5, 10), filling_s=(0.5, 30)),
    light=in_range(Light, emitter=(0.3, 2), arterial_path_cm=(0.01, 0.1), bandwidth_Hz=(20, 1000)),
    valve=st.one_of(flow_valves, flow_valves, pressure_valves),
    supply=in_range(Supply, pressure_mmHg=(400, 900), volume_mL=(20, 500), regulator_mL_s_mmHg=(0.1, 5)),
    air=in_range(Air, atmosphere_mmHg=(600, 800), temperature_K=(270, 310), polytropic_exponent=(1, 1.4)),
    tube=tubes,
    cuff=in_range(
        Cuff, volume_mL=(0.5, 10), growth_mL=(0, 5), half_growth_mmHg=(20, 150), leak_mL_s_mmHg=(1e-4, 1e-3),
        gap_mm=st.sampled_from([0.0, 1.0, 2.0, 4.0])),
    transducer=in_range(
        Transducer, at_valve_end=st.booleans(), bandwidth_Hz=(20, 1000), gain=(0.9, 1.1), offset_mmHg=(-5, 5)),
)
arterials = st.floats(70, 140)
tones = st.floats(-1, 1.5)
offsets = st.floats(-10, 10)


# --- the point itself -------------------------------------------------------------------------------------------


@few
@given(rigs, arterials, tones, offsets)
def test_clamp_point_is_at_rest(plant: Plant, arterial: float, tone: float, offset: float) -> None:
    """Every rate is zero but for rounding, whatever leaks, bleeds and drops along the line."""
    point = clamp_point(plant, arterial, tone, offset)
    rates = plant_rates(plant, point.state, point.around, point.command)
    assert rates.cuff_mmHg == pytest.approx(0.0, abs=1e-6)
    assert rates.supply_mmHg == pytest.approx(0.0, abs=1e-6)
    assert rates.external_mmHg == pytest.approx(0.0, abs=1e-6)
    assert rates.reading_mmHg == pytest.approx(0.0, abs=1e-6)
    assert abs(rates.creep_area) + abs(rates.venous_volume) + abs(rates.photodiode) < 1e-9
    assert rates.valve == pytest.approx((0.0, 0.0), abs=1e-5)
    if isinstance(plant.tube, Tube):
        assert rates.line.pressures_mmHg == pytest.approx((0.0,) * plant.tube.sections, abs=1e-6)
        assert rates.line.flows_mL_s == pytest.approx((0.0,) * plant.tube.sections, abs=1e-5)
    assert point.area == pytest.approx(arterial_area(plant, point.state, point.around), rel=1e-9)
    assert point.light == point.state.photodiode


def test_a_strong_leak_down_a_narrow_line_is_at_rest_too(flatten: Flatten) -> None:
    """The line's pressure drops by tens of mmHg and is not straight: the square of absolute pressure is."""
    plant = Plant(
        tube=Tube(1.2, 1.0, 3), cuff=Cuff(leak_mL_s_mmHg=0.1), valve=FlowValve(conductance=1.0),
        supply=Supply(pump_flow_mL_s=1000.0, regulator_mL_s_mmHg=100.0))
    point = clamp_point(plant, 90.0)
    drops = -np.diff([*point.state.line.pressures_mmHg, point.state.cuff_mmHg])
    assert drops.sum() > 40.0 and drops[0] < drops[1] < drops[2]  # thinner air, more drop
    assert np.max(np.abs(flatten(plant_rates(plant, point.state, point.around, point.command)))) < 1e-6


@few
@given(rigs, arterials, tones)
def test_clamp_is_at_the_unloaded_volume(plant: Plant, arterial: float, tone: float) -> None:
    """Without offset the artery is most compliant, half open if its law is symmetric; the cuff is at
    p_a − p0 over the fit's share.
    """
    point = clamp_point(plant, arterial, tone)
    transmural = arterial - point.state.external_mmHg
    assert point.area == pytest.approx(static_area(plant.artery, unloaded_pressure(plant.artery, tone), tone), rel=1e-9)
    assert transmural == pytest.approx(unloaded_pressure(plant.artery, tone), abs=1e-9)
    assert point.state.cuff_mmHg * plant.tissue.transmission == pytest.approx(point.state.external_mmHg, rel=1e-12)
    peak = static_compliance(plant.artery, transmural, tone)
    assert all(static_compliance(plant.artery, transmural + d, tone) < peak for d in (-3.0, 3.0))


@few
@given(rigs, arterials, tones, offsets)
def test_light_slope_is_that_of_a_sudden_change(plant: Plant, arterial: float, tone: float, offset: float) -> None:
    """Cuff pressure moved a little at once: creep and veins stay, segment and fast share of the wall do not."""
    point = clamp_point(plant, arterial, tone, offset)

    def lit(cuff: float) -> float:
        external = plant.tissue.transmission * cuff
        moved = point.state._replace(
            external_mmHg=external, segment=segment_at_rest(point.around.arterial_mmHg - external))
        area = arterial_area(plant, moved, point.around)
        return light_intensity(plant.light, area, moved.venous_volume, point.around.ambient)

    step = 1e-2
    numeric = (lit(point.state.cuff_mmHg + step) - lit(point.state.cuff_mmHg - step)) / (2.0 * step)
    assert point.light_slope == pytest.approx(numeric, rel=2e-3)  # the peak's second derivative may have a kink
    assert point.light_slope > 0.0  # more pressure, less blood, more light


@few
@given(rigs, st.floats(90, 140))
def test_offset_moves_along_the_area_law(plant: Plant, arterial: float) -> None:
    """A higher transmural pressure: less cuff pressure, more area, less light."""
    points = [clamp_point(plant, arterial, 0.0, offset) for offset in (-10.0, 0.0, 10.0)]
    for before, after in pairwise(points):
        assert after.state.cuff_mmHg < before.state.cuff_mmHg
        assert after.area > before.area
        assert after.light < before.light


def test_ambient_light_may_be_given() -> None:
    """The set point moves with a lamp by exactly its light."""
    plain, lamp = clamp_point(Plant(), 90.0), clamp_point(Plant(), 90.0, ambient=0.12)
    assert lamp.light - plain.light == pytest.approx(0.10, rel=1e-12)
    assert lamp.light_slope == pytest.approx(plain.light_slope, rel=1e-12)


def test_smooth_says_whether_one_gain_serves() -> None:
    """At the edge of the dead band it does not; with a bleed, or a pressure valve, it does."""
    sealed = Cuff(leak_mL_s_mmHg=0.0)
    assert not clamp_point(Plant(cuff=sealed), 90.0).smooth
    assert clamp_point(Plant(cuff=sealed, valve=FlowValve(bleed_conductance=0.01)), 90.0).smooth
    assert clamp_point(Plant(cuff=sealed, valve=PressureValve()), 90.0).smooth


@pytest.mark.parametrize(
    ("plant", "arterial", "words"),
    [
        (Plant(), 4.0, ["4 mmHg arterial", "cuff pressure would be -1"]),
        (Plant(supply=Supply(pressure_mmHg=100.0)), 180.0, ["supply.pressure_mmHg", "99.98", "175"]),
        (Plant(valve=FlowValve(bleed_conductance=1.0)), 90.0, ["supply.pressure_mmHg", "bleed_conductance"]),
        (Plant(valve=FlowValve(conductance=1e-4), cuff=Cuff(leak_mL_s_mmHg=0.01)), 90.0,
         ["valve.conductance = 0.0001", "0.85 mL/s", "85.0"]),
        (Plant(valve=PressureValve(range_mmHg=50.0)), 90.0, ["valve.range_mmHg = 50", "85"]),
        (Plant(valve=PressureValve(), supply=Supply(pressure_mmHg=100.0)), 180.0, ["reservoir", "175"]),
    ],
)
def test_no_clamp_is_one_clear_line(plant: Plant, arterial: float, words: list[str]) -> None:
    """What cannot hold says so: key, value, what to change."""
    with pytest.raises(InputError) as refusal:
        clamp_point(plant, arterial)
    assert "\n" not in str(refusal.value)
    for word in words:
        assert word in str(refusal.value)


# --- the coupled twin -------------------------------------------------------------------------------------------


def state_names(plant: Plant) -> list[str]:
    """The twin's names of the plant's states, in the order of the flattened state; "" has no twin state."""
    flow = isinstance(plant.valve, FlowValve)
    valve = ["spool_position", "spool_velocity"] if flow else ["stage_pressure", "stage_rate"]
    line = [""]
    if isinstance(plant.tube, Tube):
        line = [f"{kind}_{i}" for kind in ("node", "section") for i in range(plant.tube.sections)]
    content = "cuff_content" if plant.cuff.gap_mm > 0.0 else ""
    return ["supply_pressure", *valve, *line, "cuff_pressure", content, "external_pressure", "edge_transmural",
            "axial_flow", "middle_transmural", "creep_area", "venous_volume", "photodiode", "reading"]


STEP = {"spool_position": 1e-7, "spool_velocity": 1e-3, "stage_pressure": 1e-4, "stage_rate": 1e-1,
        "supply_pressure": 1e-4, "cuff_pressure": 1e-3, "external_pressure": 1e-3, "creep_area": 1e-5,
        "cuff_content": 1e-4, "edge_transmural": 1e-4, "axial_flow": 1e-3, "middle_transmural": 1e-4,
        "venous_volume": 1e-5, "photodiode": 1e-4, "reading": 1e-3, "arterial_pressure": 1e-3, "command": 1e-7}


def outputs(plant: Plant, state: PlantState, around: Surroundings) -> list[float]:
    area = arterial_area(plant, state, around)
    return [state.photodiode, state.reading_mmHg, state.cuff_mmHg, state.external_mmHg, area,
            line_node(plant.tube, state.line, state.cuff_mmHg)]


def jacobian(
    plant: Plant, point: OperatingPoint, side: str, edge: bool, flatten: Flatten, refill: Refill
) -> tuple[np.ndarray, list[str]]:
    """Numerical [A B; C D] of the compiled plant by states, command and arterial pressure.

    Differences are central but where the plant has a corner: the veins are taken on their emptying side, and the
    spool at the edge of its dead band on the side asked for.
    """
    names = state_names(plant)
    rest = np.array([*flatten(point.state), point.command, point.around.arterial_mmHg])

    def model(x: np.ndarray) -> np.ndarray:
        state, around = refill(point.state, x[:-2]), point.around._replace(arterial_mmHg=float(x[-1]))
        rates = flatten(plant_rates(plant, state, around, float(x[-2])))
        return np.array([*rates, *outputs(plant, state, around)])

    at_rest, columns = model(rest), []
    veins = names.index("venous_volume")
    for i, name in enumerate([*names, "command", "arterial_pressure"]):
        move = np.zeros(len(rest))
        move[i] = STEP.get(name, 1e-3)
        high, low = model(rest + move), model(rest - move)
        column = (high - low) / (2.0 * move[i])
        column[veins] = (high[veins] - at_rest[veins]) / move[i]
        if name == "spool_position" and edge:
            ahead, here = (high, at_rest) if side == "fill" else (at_rest, low)
            column = (ahead - here) / move[i]
        columns.append(column)
    keep = [i for i, name in enumerate(names) if name]
    rows = [*keep, *range(len(names), len(names) + len(OUTPUTS))]
    matrix = np.column_stack(columns)[np.ix_(rows, [*keep, len(names), len(names) + 1])]
    return matrix, [names[i] for i in keep]


def assert_same(twin: Linear, numeric: np.ndarray, names: list[str], leave_out: str = "") -> None:
    order = [twin.states.index(name) for name in names]
    assert sorted(order) == list(range(len(twin.states)))
    ours = np.block([[twin.a[np.ix_(order, order)], twin.b[order]], [twin.c[:, order], twin.d]])
    for name, row, reference in zip([*names, *OUTPUTS], ours, numeric, strict=True):
        if name != leave_out:
            scale = np.max(np.abs(reference))
            np.testing.assert_allclose(row, reference, rtol=1e-3, atol=1e-6 * scale, err_msg=name)


@few
@given(rigs, arterials, tones, offsets)
def test_twin_is_the_jacobian_of_the_plant(
    flatten: Flatten, refill: Refill, plant: Plant, arterial: float, tone: float, offset: float
) -> None:
    """A, B, C and D of the coupled twin, on random rigs of every variant, at random clamps, on the side it rests on.

    A pressure valve's draw on the supply is one-sided and left out of its twin: that row is not compared.
    """
    point = clamp_point(plant, arterial, tone, offset)
    numeric, names = jacobian(plant, point, "fill", False, flatten, refill)
    left_out = "supply_pressure" if isinstance(plant.valve, PressureValve) else ""
    assert_same(plant_twin(plant, point, "fill"), numeric, names, left_out)


@few
@given(flow_valves, tubes, arterials, st.sampled_from(["fill", "vent"]))
def test_twin_of_either_side_at_the_edge_of_the_dead_band(
    flatten: Flatten, refill: Refill, valve: FlowValve, tube: Tube | NoTube, arterial: float, side: Any
) -> None:
    """Nothing leaks, so the spool rests anywhere in the dead band; each side's twin is the slope just outside it."""
    plant = Plant(valve=valve._replace(bleed_conductance=0.0), tube=tube, cuff=Cuff(leak_mL_s_mmHg=0.0))
    point = clamp_point(plant, arterial)
    assert point.command == plant.valve.dead_band
    edge = math.copysign(plant.valve.dead_band, 1.0 if side == "fill" else -1.0)
    there = point._replace(command=edge, state=point.state._replace(valve=SpoolState(edge, 0.0)))
    numeric, names = jacobian(plant, there, side, True, flatten, refill)
    # the pump sits exactly at its set pressure, a corner as well: its own row is compared below only
    assert_same(plant_twin(plant, point, side), numeric, names, "supply_pressure")
    twin = plant_twin(plant, point, side)
    drawn = twin.a[twin.states.index("supply_pressure"), twin.states.index("spool_position")]
    assert drawn == pytest.approx(numeric[names.index("supply_pressure"), names.index("spool_position")], rel=1e-3)


def test_sides_differ_where_the_valve_does() -> None:
    """With the same rig at the same point: filling is the quicker side here, by the ratio of the valve's gains."""
    plant = Plant(cuff=Cuff(leak_mL_s_mmHg=0.0))
    point, omega = clamp_point(plant, 90.0), 2.0 * np.pi * np.array([5.0])
    gains = [abs(plant_twin(plant, point, side).response("light", "command", omega)[0]) for side in ("fill", "vent")]
    assert 2.4 < gains[0] / gains[1] < 2.9


def test_every_part_has_its_twin() -> None:
    """Ten parts in the loop, told apart by name, joined by their signals."""
    point = clamp_point(Plant(), 90.0)
    twins = part_twins(Plant(), point, "fill")
    assert list(twins) == [
        "valve", "supply", "tube", "cuff", "tissue", "segment", "wall", "vein", "photodiode", "transducer"]
    whole = plant_twin(Plant(), point)
    assert whole.outputs == OUTPUTS and whole.inputs == ("command", "arterial_pressure")
    assert set(whole.states) == {name for twin in twins.values() for name in twin.states}


@few
@given(rigs, arterials)
def test_clamp_without_servo_does_not_run_away(plant: Plant, arterial: float) -> None:
    """A passive plant: every pole of the twin lies in the left half plane or at the origin."""
    poles = np.linalg.eigvals(plant_twin(plant, clamp_point(plant, arterial)).a)
    assert np.all(poles.real <= 1e-6 * np.max(np.abs(poles)))


# --- substeps ---------------------------------------------------------------------------------------------------


@few
@given(rigs, arterials)
def test_substeps_hold_the_fastest_pole(plant: Plant, arterial: float) -> None:
    """|λ| · step within the reach at every pole, for a longer tick and a shorter reach too; never fewer than four."""
    points = [clamp_point(plant, arterial)]
    fastest = np.max(np.abs(np.linalg.eigvals(plant_twin(plant, points[0]).a)))
    for period_s, reach in ((1e-3, 1.0), (4e-3, 1.0), (1e-3, 0.3)):
        steps = substeps_needed(plant, points, period_s, reach)
        assert steps >= 4 and fastest * period_s / steps <= reach


def test_substeps_know_the_valve_wide_open_on_an_empty_cuff() -> None:
    """A small stiff cuff behind a wide vent is fastest near ambient pressure, far from the clamp in question."""
    plant = Plant(
        tube=NoTube(), valve=FlowValve(conductance=0.3), cuff=Cuff(volume_mL=0.5, growth_mL=0.0, leak_mL_s_mmHg=0.0))
    point = clamp_point(plant, 90.0)
    state, step = point.state._replace(valve=SpoolState(-1.0, 0.0)), 1e-3
    high, low = (plant_rates(plant, state._replace(cuff_mmHg=p), point.around, -1.0).cuff_mmHg for p in (step, -step))
    pole = (low - high) / (2.0 * step)
    assert pole * 1e-3 > 4.0  # four steps would not do
    assert substeps_needed(plant, [point], 1e-3, allowed_mmHg=np.inf) >= pole * 1e-3


@settings(max_examples=8, deadline=None)
@given(rigs)
def test_substeps_are_enough(plant: Plant) -> None:
    """Slammed open and shut at full conductance, corner after corner: doubling the steps hardly moves the cuff."""
    points = [clamp_point(plant, 100.0)]
    steps = substeps_needed(plant, points, 1e-3)
    ends = []
    for substeps in (steps, 2 * steps):
        state, around = points[0].state, points[0].around
        for command in (1.0, 1.0, 0.3, -1.0, -1.0, -1.0, -1.0, 0.5, 0.2, 0.0):
            state = plant_tick(plant, state, Course(around, around), Switchover(command, command, 0.0), substeps, 1e-3)
        ends.append(state)
    assert ends[0].cuff_mmHg == pytest.approx(ends[1].cuff_mmHg, abs=0.02)


def test_the_fastest_pole_of_a_plant_with_one_fast_part() -> None:
    """A transducer far faster than all else is the fastest pole, 2πf; with the valve wide open its command is ±1."""
    plant = Plant(transducer=Transducer(bandwidth_Hz=5000.0))
    point = clamp_point(plant, 90.0)
    assert fastest_pole(plant, point, "fill") == pytest.approx(2.0 * math.pi * 5000.0, rel=1e-9)
    assert wide_open(point, "fill").command == 1.0 == -wide_open(point, "vent").command


@pytest.mark.parametrize(("damping", "times"), [(0.01, 2.0), (1.0, 1.0)])
def test_what_rings_gets_twice_the_steps(damping: float, times: float) -> None:
    """A spool of 300 Hz in a plant of slow parts: |λ|·step is the reach when it dies away, half of it when it rings."""
    plant = Plant(
        tube=NoTube(), valve=FlowValve(natural_frequency_Hz=300.0, damping_ratio=damping, conductance=1e-3),
        cuff=Cuff(volume_mL=20.0), light=Light(bandwidth_Hz=20.0), transducer=Transducer(bandwidth_Hz=20.0),
        segment=Segment(length_mm=30.0, floor_ms=2.0),
    )
    fastest = 2.0 * math.pi * 300.0
    steps = substeps_needed(plant, [clamp_point(plant, 100.0)], 0.02, 0.5, np.inf)
    assert steps == pytest.approx(times * fastest * 0.02 / 0.5, rel=0.015)
