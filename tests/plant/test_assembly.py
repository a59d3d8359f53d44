"""The coupled plant: at rest, conserving air, creeping by the book, and integrated exactly from tick to tick."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from plant.assembly import (
    Course,
    Held,
    Plant,
    PlantState,
    Surroundings,
    Switchover,
    arterial_area,
    between,
    initial_state,
    plant_rates,
    plant_tick,
    runge_kutta,
)
from plant.finger.artery import Artery, fast_share, static_area
from plant.finger.segment import segment_at_rest, segment_line
from plant.numerics.integrate import advance
from plant.operating_point import clamp_point
from plant.pneumatics.air import Air, expansion
from plant.pneumatics.cuff import Cuff, bladder_growth, bladder_volume, content_at_rest
from plant.pneumatics.flow_valve import FlowValve, SpoolState
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import NoTube, Tube, tube_end_volume, tube_volume

few = settings(max_examples=10, deadline=None)
PERIOD_s = 1e-3
REST = Surroundings(95.0, 0.0, 0.02)
STILL = Switchover(0.0, 0.0, 0.0)
Flatten = Callable[[Any], list[float]]
rigs = [Plant(), Plant(tube=NoTube()), Plant(tube=Tube(1.2, 2.0, 3)), Plant(valve=PressureValve())]


@njit
def hold(
    plant: Plant, state: PlantState, around: Surroundings, command: float, substeps: int, period_s: float, ticks: int
) -> PlantState:
    for _ in range(ticks):
        state = plant_tick(plant, state, Course(around, around), Switchover(command, command, 0.0), substeps, period_s)
    return state


def largest_difference(first: Any, second: Any, flatten: Flatten) -> float:
    return max(abs(x) for x in flatten(advance(first, -1.0, second)))


@pytest.mark.parametrize("plant", rigs)
def test_empty_plant_is_at_rest(plant: Plant, flatten: Flatten) -> None:
    """With an empty cuff nothing moves, in simulation too."""
    state = initial_state(plant, REST)
    assert np.max(np.abs(flatten(plant_rates(plant, state, REST, 0.0)))) < 1e-9
    later = plant_tick(plant, state, Course(REST, REST), STILL, 4, PERIOD_s)
    assert largest_difference(later, state, flatten) < 1e-12


# --- air --------------------------------------------------------------------------------------------------------


def content(cuff: Cuff, air: Air, end_mL: float, pressure: float) -> float:
    """Air in bladder and line end [mL ANR]: ∫ (V/n + p_abs dV/dp) dp / (p_ref T/T0), by Simpson's rule from zero."""
    grid = np.linspace(0.0, pressure, 2001)
    volume = np.array([bladder_volume(cuff, p) + end_mL for p in grid]) / air.polytropic_exponent
    wall = np.array([(p + air.atmosphere_mmHg) * bladder_growth(cuff, p) for p in grid])
    weights = np.full(len(grid), 2.0)
    weights[1::2] = 4.0
    weights[0] = weights[-1] = 1.0
    return float(np.sum(weights * (volume + wall)) * (grid[1] - grid[0]) / 3.0 / expansion(air))


def line_content(plant: Plant, state: PlantState) -> float:
    tube, air = plant.tube, plant.air
    section = tube_volume(tube) / tube.sections
    volumes = [tube.valve_volume_mL + 0.5 * section, *[section] * (tube.sections - 1)]
    held = sum(v * p for v, p in zip(volumes, state.line.pressures_mmHg, strict=True))
    return held / (air.polytropic_exponent * expansion(air))


def air_held(plant: Plant, state: PlantState) -> float:
    if plant.cuff.gap_mm > 0.0:  # its own state, warm or cold
        return line_content(plant, state) + state.cuff_mL
    return line_content(plant, state) + content(plant.cuff, plant.air, tube_end_volume(plant.tube), state.cuff_mmHg)


closed_lines = st.builds(Tube, st.floats(0.2, 2), st.floats(1.5, 4), st.just(3), st.floats(0.1, 2), st.just(1.0),
                         st.just(1.0))
sealed_cuffs = st.builds(
    Cuff, st.floats(0.5, 20), st.floats(0, 10), st.floats(20, 200), st.just(0.0), st.sampled_from([0.0, 1.0, 3.0]))


@few
@given(closed_lines, sealed_cuffs, st.from_type(Air), st.floats(20, 200), st.floats(20, 200))
def test_air_in_a_closed_line_and_cuff_is_constant(
    tube: Tube, cuff: Cuff, air: Air, near: float, far: float
) -> None:
    """With the valve shut air sloshes between line and bladder until pressures are one; none is made or lost."""
    plant = Plant(tube=tube, cuff=cuff, air=air)
    state = initial_state(plant, REST)
    line = state.line._replace(pressures_mmHg=(near, near, 0.5 * (near + far)))
    state = state._replace(
        line=line, cuff_mmHg=far, cuff_mL=content_at_rest(cuff, air, far, tube_end_volume(plant.tube)))
    before = air_held(plant, state)
    sloshing = hold(plant, state, REST, 0.0, 16, PERIOD_s, 5)
    assert air_held(plant, sloshing) == pytest.approx(before, rel=1e-6)
    settled = hold(plant, state, REST, 0.0, 8, PERIOD_s, 20_000)
    assert air_held(plant, settled) == pytest.approx(before, rel=1e-6)
    assert settled.line.pressures_mmHg == pytest.approx((settled.cuff_mmHg,) * 3, abs=1e-3)
    assert min(near, far) - 1e-6 <= settled.cuff_mmHg <= max(near, far) + 1e-6


def test_what_the_supply_loses_the_cuff_gains() -> None:
    """Pump off, filling valve open, no vent and no leak: the reservoir's air ends up in line and bladder."""
    plant = Plant(
        tube=Tube(0.5, 2.0, 3), cuff=Cuff(leak_mL_s_mmHg=0.0), supply=Supply(pump_flow_mL_s=0.0, volume_mL=40.0))
    state = initial_state(plant, REST)
    per_mmHg = plant.supply.volume_mL / (plant.air.polytropic_exponent * expansion(plant.air))
    before = per_mmHg * state.supply_mmHg + air_held(plant, state)
    later = hold(plant, state, REST, 0.5, 16, PERIOD_s, 60)
    assert later.cuff_mmHg > 50.0 and later.supply_mmHg < 595.0
    assert per_mmHg * later.supply_mmHg + air_held(plant, later) == pytest.approx(before, rel=1e-6)
    balanced = hold(plant, state, REST, 1.0, 16, PERIOD_s, 4000)
    assert balanced.cuff_mmHg == pytest.approx(balanced.supply_mmHg, abs=0.01)


def test_sealed_cuff_holds_its_pressure() -> None:
    """For ten seconds behind a shut valve; with a leak it falls as the closed rate says."""
    plant = Plant(tube=NoTube(), cuff=Cuff(leak_mL_s_mmHg=0.0))
    full = initial_state(plant, REST)._replace(cuff_mmHg=120.0)
    assert hold(plant, full, REST, 0.0, 4, PERIOD_s, 10_000).cuff_mmHg == 120.0
    leaky = plant._replace(cuff=Cuff(leak_mL_s_mmHg=1e-3, growth_mL=0.0))
    # rigid: V dp/dt = −n p_ref g p, an exponential
    rate = 1.2 * expansion(Air()) * 1e-3 / 2.5
    left = hold(leaky, full, REST, 0.0, 4, PERIOD_s, 1000).cuff_mmHg
    assert left == pytest.approx(120.0 * math.exp(-rate), rel=1e-9)


# --- finger -----------------------------------------------------------------------------------------------------


@few
@given(st.floats(0.05, 1), st.floats(40, 120), st.floats(5, 60), st.floats(-1, 2))
def test_creep_after_a_step_is_the_closed_form(fast: float, before: float, step: float, tone: float) -> None:
    """Standard linear solid in creep: φ of a step at once, the rest as 1 − e^{−t/τ}, through the whole plant.

    The segment is moved to the new pressure by hand: its own filling is tested with it.
    """
    artery = Artery(fast_fraction=fast, creep_time_s=0.1)
    plant = Plant(tube=NoTube(), artery=artery)
    state = initial_state(plant, Surroundings(before, tone, 0.02))
    stepped = Surroundings(before + step, tone, 0.02)
    state = state._replace(segment=segment_at_rest(before + step))
    share = float(fast_share(artery, tone))
    low, high = (static_area(artery, p, tone) for p in (before, before + step))
    for ticks in (0, 50, 150):
        later = hold(plant, state, stepped, 0.0, 4, PERIOD_s, ticks)
        expected = low + (high - low) * (1.0 - (1.0 - share) * math.exp(-ticks * PERIOD_s / 0.1))
        assert arterial_area(plant, later, stepped) == pytest.approx(expected, rel=1e-7)


def test_light_and_reading_follow_with_their_lags() -> None:
    """After five time constants the photodiode and the reading sit at their targets; more area, less light."""
    plant = rigs[1]
    state = initial_state(plant, REST)
    wider = Surroundings(160.0, 0.0, 0.02)
    later = hold(plant, state, wider, 0.0, 4, PERIOD_s, 20)
    assert later.photodiode < state.photodiode
    squeezed = hold(plant, state._replace(cuff_mmHg=150.0), REST, 0.0, 4, PERIOD_s, 20)
    assert squeezed.photodiode > state.photodiode
    assert squeezed.reading_mmHg == pytest.approx(squeezed.cuff_mmHg, abs=0.01)
    assert squeezed.external_mmHg == pytest.approx(squeezed.cuff_mmHg, abs=0.01)


# --- time -------------------------------------------------------------------------------------------------------


def ticked(plant: Plant, state: PlantState, old: float, new: float, share: float, substeps: int) -> PlantState:
    start, end = Surroundings(90.0, 0.2, 0.03), Surroundings(94.0, 0.2, 0.03)
    return plant_tick(plant, state, Course(start, end), Switchover(old, new, share), substeps, PERIOD_s)


@few
@given(st.floats(-1, 1), st.floats(-1, 1), st.integers(1, 8))
def test_cut_tick_is_two_half_ticks(old: float, new: float, half: int) -> None:
    """The change of command at half a tick: the first half under the old one, then the second under the new one."""
    plant = rigs[0]
    state = clamp_point(plant, 90.0).state
    whole = ticked(plant, state, old, new, 0.5, 2 * half)
    points = [Surroundings(p, 0.2, 0.03) for p in (90.0, 92.0, 94.0)]
    middle = plant_tick(plant, state, Course(points[0], points[1]), Switchover(old, old, 0.0), half, 0.5 * PERIOD_s)
    parts = plant_tick(plant, middle, Course(points[1], points[2]), Switchover(new, new, 0.0), half, 0.5 * PERIOD_s)
    assert whole.cuff_mmHg == pytest.approx(parts.cuff_mmHg, rel=1e-12)
    assert whole.valve == pytest.approx(parts.valve, rel=1e-10)
    assert whole.photodiode == pytest.approx(parts.photodiode, rel=1e-12)
    assert whole.line.flows_mL_s == pytest.approx(parts.line.flows_mL_s, rel=1e-10, abs=1e-12)


def test_whole_tick_is_exact_at_either_end() -> None:
    """A change at 0 or at 1 is no cut at all, bit for bit; the other command is then never seen."""
    state = clamp_point(rigs[0], 90.0).state
    steady = ticked(rigs[0], state, 0.3, 0.3, 0.0, 4)
    assert ticked(rigs[0], state, -0.9, 0.3, 0.0, 4) == steady
    assert ticked(rigs[0], state, 0.3, -0.9, 1.0, 4) == steady
    assert ticked(rigs[0], state, 0.3, -0.9, 0.999, 4) != steady


@few
@given(st.floats(0.01, 0.99), st.floats(-1, 1))
def test_cut_without_a_change_changes_nothing(share: float, command: float) -> None:
    """The same command on both sides of a cut: the same tick, to the accuracy of steps over the dead band's corners."""
    state = clamp_point(rigs[0], 90.0).state
    cut, whole = (ticked(rigs[0], state, command, command, s, 16) for s in (share, 0.0))
    assert cut.cuff_mmHg == pytest.approx(whole.cuff_mmHg, abs=2e-3)
    assert cut.valve.position == pytest.approx(whole.valve.position, abs=2e-4)


def test_ticks_add_up_without_drift() -> None:
    """A thousand ticks one by one are the same bits as a thousand in one call: no time is carried along."""
    state = initial_state(rigs[0], REST)
    together = hold(rigs[0], state, REST, 0.2, 4, PERIOD_s, 200)
    for _ in range(200):
        state = plant_tick(rigs[0], state, Course(REST, REST), Switchover(0.2, 0.2, 0.0), 4, PERIOD_s)
    assert state == together


@pytest.mark.parametrize("plant", [rigs[0], rigs[3]])
def test_halving_the_step_divides_the_error_by_sixteen(plant: Plant, flatten: Flatten) -> None:
    """Fourth order on the whole plant, over ticks with no corner in them (bleed, small commands, moving pressure)."""
    if isinstance(plant.valve, FlowValve):
        plant = plant._replace(valve=FlowValve(bleed_conductance=0.01))
    point = clamp_point(plant, 90.0)
    # veins are kept emptying and the pump throttled: corners of the model would spoil the order
    start = point.state._replace(venous_volume=point.state.venous_volume + 0.1)
    ends = []
    for substeps in (8, 16, 32, 256):
        state = start
        for k in range(10):
            around, following = (Surroundings(90.0 + 0.3 * (k + i), 0.0, 0.02) for i in (0, 1))
            command = point.command * (1.0 + 0.05 * (-1) ** k)
            held = Switchover(command, command, 0.0)
            state = plant_tick(plant, state, Course(around, following), held, substeps, PERIOD_s)
        ends.append(state)
    errors = [largest_difference(end, ends[-1], flatten) for end in ends[:-1]]
    assert errors[0] / errors[1] == pytest.approx(16.0, rel=0.25)
    assert errors[1] / errors[2] == pytest.approx(16.0, rel=0.2)


def test_surroundings_move_along_a_line_and_tone_is_held() -> None:
    """Arterial pressure is interpolated within the tick; tone and ambient light change on the tick only."""
    plant, state = rigs[1], initial_state(rigs[1], REST)
    here = Surroundings(95.0, 0.0, 0.02)
    held = plant_tick(plant, state, Course(here, Surroundings(95.0, 2.0, 0.5)), STILL, 4, PERIOD_s)
    assert held == plant_tick(plant, state, Course(here, here), STILL, 4, PERIOD_s)
    rising = plant_tick(plant, state, Course(here, Surroundings(99.0, 0.0, 0.02)), STILL, 4, PERIOD_s)
    steep = plant_tick(plant, state, Course(here, Surroundings(103.0, 0.0, 0.02)), STILL, 4, PERIOD_s)
    assert held.photodiode > rising.photodiode > steep.photodiode


def test_an_idle_plant_comes_to_rest_and_not_to_denormals() -> None:
    """A vented cuff on a pressure-type valve decays to zero itself: denormal numbers make a run twenty times slower."""
    plant = rigs[3]
    full = clamp_point(plant, 90.0).state
    empty = hold(plant, full, REST, 0.0, 4, PERIOD_s, 20_000)
    assert empty.cuff_mmHg == 0.0 and empty.valve == (0.0, 0.0)


def test_exhausted_supply_lets_the_cuff_down() -> None:
    """A pump too weak for the bleed: the reservoir runs down and the cuff with it, whatever the command."""
    plant = Plant(
        valve=FlowValve(bleed_conductance=0.05), supply=Supply(pump_flow_mL_s=5.0, volume_mL=20.0), tube=NoTube())
    state = initial_state(plant, REST)
    early = hold(plant, state, REST, 1.0, 40, PERIOD_s, 75)
    late = hold(plant, state, REST, 1.0, 40, PERIOD_s, 3000)
    assert early.cuff_mmHg > 200.0
    assert late.supply_mmHg < 60.0 and late.cuff_mmHg < late.supply_mmHg


def test_state_has_the_spool_of_its_valve() -> None:
    """Each variant brings its own state class, kept through a tick."""
    assert isinstance(ticked(rigs[0], initial_state(rigs[0], REST), 0.0, 0.1, 0.5, 4).valve, SpoolState)
    after = ticked(rigs[3], initial_state(rigs[3], REST), 0.0, 0.4, 0.5, 4).valve
    assert after.pressure_mmHg > 0.0


@given(st.floats(-1.0, 2.0))
def test_between_two_ticks_by_hand(share: float) -> None:
    """90 and 98 mmHg: a quarter of the way 92; tone and ambient light are those of the start."""
    found = between(Course(Surroundings(90.0, 0.2, 0.03), Surroundings(98.0, 0.7, 0.09)), share)
    assert found.arterial_mmHg == pytest.approx(90.0 + 8.0 * share) and found[1:] == (0.2, 0.03)


@pytest.mark.parametrize(("share", "steps", "before", "after"), [
    (0.0, 3, 0, 3), (1.0, 3, 3, 0), (0.5, 4, 2, 2), (0.3, 4, 2, 3), (0.01, 2, 1, 2), (0.99, 2, 2, 1), (0.25, 1, 1, 1),
])
def test_a_tick_is_its_runge_kutta_steps(share: float, steps: int, before: int, after: int) -> None:
    """Each piece in equal steps no longer than 1/steps of a tick, the old command before the cut, the new one after."""
    plant, course = rigs[1], Course(Surroundings(90.0, 0.2, 0.03), Surroundings(120.0, 0.2, 0.03))
    state = by_hand = clamp_point(plant, 90.0).state
    vessel = segment_line(plant.segment, plant.artery, 0.2)
    for i in range(before):
        part = share / before
        by_hand = runge_kutta(plant, by_hand, course, i * part, part, PERIOD_s, Held(-0.4, vessel))
    for i in range(after):
        part = (1.0 - share) / after
        by_hand = runge_kutta(plant, by_hand, course, share + i * part, part, PERIOD_s, Held(0.6, vessel))
    assert plant_tick(plant, state, course, Switchover(-0.4, 0.6, share), steps, PERIOD_s) == by_hand
