"""The phase budget: it adds up to the exact loop, and each row is what that part is known to cost."""
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.margins.budget import phase_budget
from controller.margins.loop import Loop, loop_margins, sampled
from controller.response import response
from controller.tick.inverse import Direct
from controller.tick.law import Controller, design
from controller.tick.timing import Timing
from plant.assembly import Plant
from plant.finger.light import Light
from plant.finger.tissue import Tissue
from plant.pneumatics.air import chamber_rate
from plant.pneumatics.cuff import bladder_growth, bladder_volume
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.tube import NoTube, Tube, tube_inertance, tube_resistance, tube_volume
from plant.units import REFERENCE_PRESSURE_mmHg

few = settings(max_examples=15, deadline=None)
loops = st.from_type(Loop)
frequencies = st.floats(0.5, 80)
Make = Callable[..., Loop]
BLEEDING = FlowValve(bleed_conductance=0.002)


def rows(loop: Loop, frequency_Hz: float) -> dict[str, float]:
    found = phase_budget(loop, frequency_Hz)
    assert len({row.part for row in found}) == len(found)
    return {row.part: row.phase_deg for row in found}


def exact_deg(loop: Loop, frequency_Hz: float) -> float:
    omega = 2.0 * math.pi * frequency_Hz
    value = response(sampled(loop), omega) * response(loop.coefficients, omega)
    return math.degrees(math.atan2(value.imag, value.real))


def long_line(make: Make, length_m: float = 1.2) -> Loop:
    return make(Plant(valve=BLEEDING, tube=Tube(length_m=length_m, sections=8)), gain=0.5)


# --- the sum ----------------------------------------------------------------------------------------------------


@few
@given(loops, frequencies)
def test_rows_sum_to_the_phase_of_the_loop(loop: Loop, frequency_Hz: float) -> None:
    """Whatever valve, tube, stage and dead time: nothing is lost and nothing is counted twice."""
    missing = math.fsum(rows(loop, frequency_Hz).values()) - exact_deg(loop, frequency_Hz)
    assert abs(math.remainder(missing, 360.0)) < 1e-6


@few
@given(loops, frequencies)
def test_hold_and_dead_time_cost_exactly_their_length(loop: Loop, frequency_Hz: float) -> None:
    """ω T/2 and ω D, whole turns included (Franklin, Powell & Workman; Åström & Wittenmark, from memory)."""
    found = rows(loop, frequency_Hz)
    assert found["hold"] == pytest.approx(-180.0 * frequency_Hz * loop.timing.period_s, rel=1e-9)
    dead = loop.timing.dead_time_s
    if dead > 1e-6:
        assert found["dead time"] == pytest.approx(-360.0 * frequency_Hz * dead, rel=1e-6)


@few
@given(loops, st.floats(2, 40))
def test_rows_of_known_lags(loop: Loop, frequency_Hz: float) -> None:
    """Second-order valve, first-order tissue and photodiode: closed forms of the textbook."""
    found, valve = rows(loop, frequency_Hz), loop.plant.valve
    ratio = frequency_Hz / valve.natural_frequency_Hz
    spool = math.degrees(math.atan2(2.0 * valve.damping_ratio * ratio, 1.0 - ratio * ratio))
    assert found["valve"] == pytest.approx(-spool, abs=1e-6)
    assert found["tissue"] == pytest.approx(
        -math.degrees(math.atan(2.0 * math.pi * frequency_Hz * loop.plant.tissue.lag_s)), abs=1e-6)
    assert found["photodiode"] == pytest.approx(
        -math.degrees(math.atan(frequency_Hz / loop.plant.light.bandwidth_Hz)), abs=1e-6)


@few
@given(loops, st.floats(1, 60))
def test_controller_rows_are_the_controllers_phase(loop: Loop, frequency_Hz: float) -> None:
    found = rows(loop, frequency_Hz)
    value = response(loop.coefficients, 2.0 * math.pi * frequency_Hz)
    total = math.fsum(phase for part, phase in found.items() if part.startswith("controller: "))
    assert math.remainder(total - math.degrees(math.atan2(value.imag, value.real)), 360.0) == pytest.approx(0, abs=1e-6)


@few
@given(loops)
def test_sampling_itself_costs_next_to_nothing_at_low_frequency(loop: Loop) -> None:
    """Aliases fall with the square of frequency over tick rate and more: hold and dead time explain the rest."""
    assert abs(rows(loop, 5.0).get("sampling", 0.0)) < 0.01


# --- taking parts away ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("part", "slow", "fast"), [
    ("valve", {"valve": BLEEDING._replace(natural_frequency_Hz=60.0)}, {"valve": BLEEDING}),
    ("photodiode", {"light": Light(bandwidth_Hz=60.0)}, {"light": Light(bandwidth_Hz=400.0)}),
    ("tissue", {"tissue": Tissue(lag_s=0.004)}, {"tissue": Tissue(lag_s=0.0004)}),
])
def test_a_faster_part_raises_its_own_row_only(
    make_loop: Make, part: str, slow: dict[str, object], fast: dict[str, object]
) -> None:
    """At one frequency; parts in series leave each other's phase alone."""
    plant = Plant(valve=BLEEDING)
    before = rows(make_loop(plant._replace(**slow), stage=Direct()), 15.0)
    after = rows(make_loop(plant._replace(**fast), stage=Direct()), 15.0)
    assert after[part] > before[part] + 1.0
    for other in before.keys() & after.keys() - {part}:
        assert after[other] == pytest.approx(before[other], abs=0.01)


def test_a_shorter_tube_costs_less(make_loop: Make) -> None:
    costs = [rows(long_line(make_loop, length), 10.0)["tube"] for length in (0.1, 0.3, 0.6, 1.2)]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] < 0.0


def test_a_rig_without_tube_has_no_such_row(make_loop: Make) -> None:
    assert "tube" in rows(make_loop(Plant(valve=BLEEDING)), 15.0)
    assert "tube" not in rows(make_loop(Plant(valve=BLEEDING, tube=NoTube())), 15.0)


def test_parts_that_are_not_there_have_no_row(make_loop: Make) -> None:
    plain = make_loop(timing=Timing(dead_time_s=0.0), stage=Direct(), controller=Controller(kp=0.01))
    absent = {"dead time", "valve inverse", "tube", "controller: lead", "controller: notch", "controller: pid",
              "controller: derivative filter"}
    assert not absent & rows(plain, 15.0).keys()


def test_less_dead_time_shows_in_no_row_but_its_own(make_loop: Make) -> None:
    late, prompt = (rows(make_loop(stage=Direct(), timing=Timing(dead_time_s=d)), 20.0) for d in (0.002, 0.001))
    assert prompt["dead time"] - late["dead time"] == pytest.approx(7.2, rel=1e-9)  # a tick at 20 Hz
    for part in late.keys() - {"dead time"}:
        assert prompt[part] == pytest.approx(late[part], abs=1e-6)


# --- long tubes -------------------------------------------------------------------------------------------------


def test_a_long_tube_is_followed_past_half_a_turn(make_loop: Make) -> None:
    """Above its first resonance a 1.2 m line has turned by more than 180°, and the row says so: it falls on and on with
    frequency instead of jumping back by 360°."""
    loop = long_line(make_loop)
    costs = [rows(loop, frequency)["tube"] for frequency in np.linspace(5.0, 200.0, 27)]
    assert costs[-1] < -270.0
    assert np.max(np.abs(np.diff(costs))) < 120.0  # a lightly damped resonance turns fast, but never by a full circle
    assert abs(math.remainder(math.fsum(rows(loop, 200.0).values()) - exact_deg(loop, 200.0), 360.0)) < 1e-6


@pytest.mark.parametrize("length_m", [0.1, 0.5, 1.2])
@pytest.mark.parametrize("frequency_Hz", [5.0, 20.0, 60.0])
def test_the_tubes_row_in_closed_form(make_loop: Make, length_m: float, frequency_Hz: float) -> None:
    """One section between two volumes, fed with flow: pressure at the far end is 1/(s (C1 + C2)) over
    1 + s R C + s² L C with C = C1 C2/(C1 + C2). What a tube costs is the phase of that (electrical analogy, common
    practice). A flow source into a line without loss would cost nothing below the resonance, whatever the length."""
    plant = Plant(valve=FlowValve(bleed_conductance=0.0), tube=Tube(length_m=length_m, sections=1))
    loop = make_loop(plant, stage=Direct())
    pressure, air, tube = loop.point.state.cuff_mmHg, plant.air, plant.tube
    half = 0.5 * tube_volume(tube)
    near = 1.0 / chamber_rate(air, tube.valve_volume_mL + half, 0.0, pressure, 1.0)
    volume, growth = bladder_volume(plant.cuff, pressure) + half, bladder_growth(plant.cuff, pressure)
    far = 1.0 / chamber_rate(air, volume, growth, pressure, 1.0)
    capacity, omega = near * far / (near + far), 2.0 * math.pi * frequency_Hz
    loss = omega * tube_resistance(tube) * REFERENCE_PRESSURE_mmHg / (pressure + air.atmosphere_mmHg) * capacity
    expected = -math.degrees(math.atan2(loss, 1.0 - omega**2 * tube_inertance(tube) * capacity))
    assert rows(loop, frequency_Hz)["tube"] == pytest.approx(expected, rel=0.01, abs=0.02)  # leak and supply besides


def test_at_crossover_the_budget_gives_the_phase_margin(make_loop: Make) -> None:
    """180° plus the rows is the phase margin of the margins' table, on either side, with either tube."""
    for plant in (Plant(valve=BLEEDING), Plant(valve=BLEEDING, tube=Tube(length_m=1.2, sections=8))):
        for side in ("fill", "vent"):
            loop = make_loop(plant, side, gain=0.5)
            margins = loop_margins(loop)
            total = math.fsum(rows(loop, margins.crossover_Hz).values())
            assert 180.0 + total == pytest.approx(margins.phase_margin_deg, abs=1e-6)


def test_more_gain_moves_no_row(make_loop: Make) -> None:
    """Phase at a given frequency does not depend on gain."""
    loop = make_loop()
    louder = loop._replace(coefficients=design(Controller(
        kp=0.09, ti_s=0.02, td_s=0.001, filter_ratio=8.0, lead_zero_Hz=112.0, lead_pole_Hz=450.0), 0.001))
    assert rows(louder, 15.0) == pytest.approx(rows(loop, 15.0), abs=1e-9)
