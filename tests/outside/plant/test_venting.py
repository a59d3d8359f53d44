"""Emptying and leaking of a cuff through the plant with a hole, against closed forms and published figures.

REFERENCES 3.1, 3.2, 3.4, 3.10, 6.6: tags at each test.
"""
import math

import numpy as np
import pytest

from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.trial import make_bench
from experiments.subjects.population import sample_fingers
from plant.assembly import Course, Plant, Surroundings, Switchover, initial_state, plant_tick
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.openings import Openings, OpenPlantState, opened
from plant.pneumatics.relief import Relief, relief_flow
from plant.pneumatics.tube import NoTube
from plant.units import PASCAL_PER_MMHG, REFERENCE_DENSITY_kg_m3
from tests.experiments.safety.faults.fault_bench import bench

AROUND = Surroundings(95.0, 0.0, 0.02)
STILL = Switchover(0.0, 0.0, 0.0)
PSI_mmHg = 51.7149  # pound per square inch


def emptied(volume_mL, exponent, start_mmHg, conductance, critical, seconds, period=0.01, leak=0.0, temperature=293.15):
    """Gauge pressure tick by tick of a rigid vessel behind a hole, through the plant with a hole."""
    plant = Plant(
        tube=NoTube(), valve=FlowValve(), cuff=Cuff(volume_mL, 0.0, 60.0, leak),
        air=Air(polytropic_exponent=exponent, temperature_K=temperature, laminar_ratio=0.999))
    state = OpenPlantState(initial_state(plant, AROUND)._replace(cuff_mmHg=start_mmHg), 0.0)
    hole = Openings(0.0, conductance, 0.0, critical, False, False)
    found = [start_mmHg]
    for _ in range(round(seconds / period)):
        state = plant_tick(opened(plant, Relief(), hole, state.lift), state, Course(AROUND, AROUND), STILL, 40, period)
        found.append(state.plant.cuff_mmHg)
    return np.array(found)


def test_blow_down_of_a_tyre():
    """Balmer, example 16.8: 1 ft³ at 50 psia through a choked hole of 0.0938 in unchokes at 13.1 psig after 18.7 s.

    [seen]. Ideal orifice of 1 mm: C = 0.1565 dm³/(s·bar) at 20 °C [computed, 3.5]; air at 70 °F; atmosphere 14.7 psia.
    """
    conductance = 0.1565 * (0.0938 * 25.4) ** 2
    start = 50.0 * PSI_mmHg - 760.0
    found = emptied(28316.8, 1.0, start, conductance, 0.528282, 20.0, temperature=294.26)
    seconds = np.interp(-13.1 * PSI_mmHg, -found, 0.01 * np.arange(len(found)))
    assert seconds == pytest.approx(18.7, rel=0.01)


@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_choked_emptying_is_exponential(exponent):
    """p = p0 e^{−n t/τ}, τ = V/(C p_ref): isothermal, and 1.4 times as fast adiabatic (3.10) [computed]."""
    volume, conductance = 500.0, 0.05
    found = emptied(volume, exponent, 4000.0, conductance, 0.3, 0.5, period=0.005) + 760.0
    tau = volume / (conductance * 1000.0)
    choked = found > 760.0 / 0.3
    time = 0.005 * np.arange(len(found))[choked]
    assert np.sum(choked) > 20
    assert found[choked] == pytest.approx(4760.0 * np.exp(-exponent * time / tau), rel=1e-3)


@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_a_linear_leak_is_exponential_too(exponent):
    """g p leaks: p = p0 e^{−n p_ref g t/V} of a sealed rigid vessel [computed]."""
    volume, leak = 100.0, 0.02
    found = emptied(volume, exponent, 200.0, 0.0, 0.3, 5.0, leak=leak)
    rate = exponent * 750.0637 * leak / volume
    assert found == pytest.approx(200.0 * np.exp(-rate * 0.01 * np.arange(len(found))), rel=1e-6)


def test_subsonic_emptying_time():
    """From 260 to 15 mmHg the ISO 6358 law integrates to a closed form [computed].

    With x = p/p_a: t = (V/(n C p_ref)) ∫ dx/(x √(1 − ((1/x − b)/(1 − b))²)), here by Simpson's rule to 1e-6.
    """
    volume, conductance, b = 100.0, 0.02, 0.3
    found = emptied(volume, 1.2, 260.0, conductance, b, 3.0, period=0.005)
    seconds = np.interp(-15.0, -found, 0.005 * np.arange(len(found)))
    x = np.linspace(1.0 + 15.0 / 760.0, 1.0 + 260.0 / 760.0, 20_001)
    inside = 1.0 / (x * np.sqrt(1.0 - ((1.0 / x - b) / (1.0 - b)) ** 2))
    h = x[1] - x[0]
    integral = h / 3.0 * (inside[0] + inside[-1] + 4.0 * np.sum(inside[1:-1:2]) + 2.0 * np.sum(inside[2:-1:2]))
    assert seconds == pytest.approx(volume / (1.2 * conductance * 1000.0) * integral, rel=2e-3)


@pytest.mark.parametrize(("downstream_kPa", "mass_kg_s"), [(100.0, 0.008295)])
def test_relief_flow_is_iso_6358(downstream_kPa, mass_kg_s):
    """C = 1e-8 m³/(s·Pa), b = 0.35, 700 kPa absolute to 100 kPa at 293.15 K: 0.008295 kg/s (3.2) [seen]."""
    air = Air(atmosphere_mmHg=downstream_kPa * 1e3 / PASCAL_PER_MMHG)
    relief = Relief(conductance=1.0, critical_ratio=0.35)
    flow = relief_flow(relief, air, 1.0, 600e3 / PASCAL_PER_MMHG)
    assert flow * 1e-6 * REFERENCE_DENSITY_kg_m3 == pytest.approx(mass_kg_s, rel=1e-3)


@pytest.mark.parametrize("lift", [0.25, 0.5, 1.0])
def test_subsonic_relief_flow(lift):
    """At cuff pressures a vent is subsonic: q = C p1 √(1 − ((p2/p1 − b)/(1 − b))²), by hand (3.1) [seen]."""
    relief = Relief(conductance=0.12, critical_ratio=0.3)
    high = 760.0 + 300.0
    wanted = lift * 0.12 * 1000.0 * high / 750.0637 * math.sqrt(1.0 - ((760.0 / high - 0.3) / 0.7) ** 2)
    assert relief_flow(relief, Air(), lift, 300.0) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_rapid_exhaust(rig):
    """In the manner of OIML R 16-2: from 260 to 15 mmHg within 10 s [memory, medium]; here by cutting the power.

    Its scope is the arm cuff of a sphygmomanometer with litres of air; a finger cuff is far quicker.
    """
    here = bench(rig)
    start = here.start
    full = start.plant.plant._replace(cuff_mmHg=260.0)
    here.start = start._replace(plant=start.plant._replace(plant=full))
    try:
        outcome, _ = here.run(CATALOGUE["power_loss"])
    finally:
        here.start = start
    assert 0.0 < outcome.figures["below_15_s"] < 10.0 and outcome.figures["highest_mmHg"] >= 260.0


def test_air_leak_in_the_manner_of_oiml():
    """OIML R 16-2 allows an arm cuff 6 mmHg/min [memory, medium]. The demonstration cuffs leak on purpose, and more.

    The declared leak gives the rate in closed form: dp/dt = n p_ref g p/V (no growth counted, so an upper bound).
    """
    rig = load_rig("wrist", ["dump_valve.at_cuff=false"])  # behind the kink, where it cannot empty the cuff
    people = sample_fingers(2)
    kinked = make_bench(rig, people[0], people[1])
    _, rows = kinked.run(CATALOGUE["tube_kinked"], trace=True)
    cuff = rows[:, 1]
    fall = (cuff[3000] - cuff[4000]) * 60.0
    volume = kinked.rig.plant.cuff.volume_mL
    most = 60.0 * 1.2 * 750.0 * 1e-4 * cuff[3500] / volume
    assert 6.0 < fall < most and fall > 0.6 * most
