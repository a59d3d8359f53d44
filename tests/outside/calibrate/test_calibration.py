"""Search, staircase and probing in the coupled simulation against published facts of vessel, light and wall.

What plant/ does by itself is held against the same sources in test_vessel.py and test_light.py; here the facts must
come through the firmware's two signals, or through the compiled kernel.

Tags: [seen] read in the published text, [memory, high/medium/low] not looked up, [computed] mathematics. A value tagged
medium or low is only a band, two times wide.
"""
import math

import numpy as np
import pytest

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Seen, Vent
from calibrate.search.probing import local_slopes
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.searches import ArctangentSearch
from calibrate.search.staircase import Staircase, Step, climb, measure, rises
from experiments.rigs.rig import Rig, clamp, load_rig
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import COLUMN, Session
from experiments.simulation.set_point import transmural_error
from experiments.subjects.finger import finger_inputs, on_finger, pulsation
from experiments.subjects.population import sample_fingers
from plant.assembly import Inputs
from plant.finger.artery import law_at, static_area, unloaded_pressure
from plant.finger.light import Light, light_intensity
from plant.pressure.synthetic import STEADY, synthesise

SUBSTEPS = 5
TICK_s = 1e-3
FILLED_s = 0.05  # after a step the segment under the cuff has filled or emptied (some ms, plant/finger/segment.py)
LATE_s = 0.002  # by which that is as if the step had come later


@pytest.fixture(scope="module")
def rig() -> Rig:
    """The wrist rig without noise and converter steps, veins out of the light's way."""
    wrist = load_rig("wrist")
    light = wrist.plant.light._replace(noise=0.0, bits=0, venous_path_cm=0.0, ambient=0.0)
    transducer = wrist.plant.transducer._replace(noise_mmHg=0.0, bits=0)
    return wrist._replace(plant=wrist.plant._replace(light=light, transducer=transducer))


@pytest.fixture(scope="module")
def instrument(rig: Rig) -> Instrument:
    return instrument_of(rig)


def session(rig: Rig, arterial: np.ndarray, tone: float = 0.0) -> Session:
    return Session(rig, Inputs(arterial, np.full(len(arterial), tone), np.full(len(arterial), rig.plant.light.ambient)),
                   1, SUBSTEPS)


def beating(seconds: float, systolic: float = 120.0, diastolic: float = 75.0) -> np.ndarray:
    params = STEADY._replace(systolic_mmHg=systolic, diastolic_mmHg=diastolic)
    return synthesise(params, TICK_s, seconds, 1).pressure_mmHg


def climbed(rig: Rig, instrument: Instrument, tone: float = 0.0) -> list[Step] | Failed:
    """The staircase on 120/75 mmHg."""
    outcome: list[Step] | Failed = session(rig, beating(40.0), tone).follow(  # type: ignore[assignment]
        climb(Staircase(), instrument), instrument)  # type: ignore[arg-type]
    return outcome


# --- finger arteries (1.1, 1.4, 1.15) ---------------------------------------------------------------------------


def test_the_largest_pulsation_lies_at_low_positive_transmural_pressure(rig: Rig, instrument: Instrument) -> None:
    """Finger arteries are steepest near zero transmural pressure: Langewouters, Zwart, Busse & Wesseling 1986 [seen]
    (1.4), and pulsate most there, which Peñáz 1973 builds on [memory, high] (1.15). "Near" is taken as −10 … 30 mmHg.

    As the firmware sees it, at the middle of the pulse, by a parabola through the best step and its neighbours.
    """
    steps = climbed(rig, instrument)
    assert isinstance(steps, list)
    best = int(np.argmax([s.rise for s in steps]))
    assert 0 < best < len(steps) - 1
    pressure, rise = ([getattr(s, name) for s in steps[best - 1 : best + 2]] for name in ("pressure_mmHg", "rise"))
    bend, slope, _ = np.polyfit(pressure, rise, 2)
    assert -10.0 < 97.5 - (-0.5 * slope / bend) < 30.0


@pytest.mark.parametrize("amplitude", [20.0, 35.0, 50.0])
def test_a_quick_pulse_moves_the_light_less_than_slow_loading(rig: Rig, amplitude: float) -> None:
    """1 Hz oscillation of 20–50 mmHg moves the artery substantially less than quasi-static loading, in vitro:
    Langewouters et al. 1986 [seen] (1.4); "substantially" is taken as at least a fifth. Optical depth, cuff empty, mean
    of 60 mmHg, and 100 times slower for the slow one.
    """
    swings = []
    for frequency in (1.0, 0.01):
        count = round(6.0 / frequency / TICK_s) if frequency == 1.0 else round(2.0 / frequency / TICK_s)
        one = session(rig, 60.0 + amplitude * np.sin(2 * np.pi * frequency * np.arange(count + 1) * TICK_s))
        bare = Instrument(TICK_s, 240.0, 0.0, 0.009, 36.0, 1.0 + 0.0j)
        depth = -np.log(one.ask(Vent(count * TICK_s), bare).light[-round(1.0 / frequency / TICK_s):])
        swings.append(float(np.ptp(depth)))
    quick, slow = swings
    assert 0.2 * slow < quick < 0.8 * slow


def test_constriction_closes_the_artery_and_the_search_says_so(rig: Rig, instrument: Instrument) -> None:
    """Noradrenaline or spontaneous tone closes finger arteries completely, in vitro: Langewouters et al. 1986 [seen]
    (1.4). Rises of the staircase fall with tone, and near closure the instrument must not name a set point.
    """
    noisy = rig._replace(plant=rig.plant._replace(light=load_rig("wrist").plant.light))
    largest = []
    for tone in (0.0, 1.0, 2.0):
        steps = climbed(noisy, instrument, tone)
        assert isinstance(steps, list)
        largest.append(max(s.rise for s in steps))
    assert largest[0] > largest[1] > largest[2]
    closed = noisy._replace(plant=noisy.plant._replace(artery=noisy.plant.artery._replace(tone_area=3.0)))
    outcome = session(closed, beating(60.0), 3.0).follow(ProbingSearch().search(instrument), instrument)
    assert isinstance(outcome, Failed)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_probing_sees_half_the_compliance_one_width_away(rig: Rig, instrument: Instrument, side: float) -> None:
    """C(P0 ± P1) = Cm/2 is the definition of P1: Langewouters, Wesseling & Goedhard 1984 [seen] (1.1), taken on either
    side of the peak with the width that the artery has there.

    The light's relative slope, read off a small tone in the clamp at both set points; steady pressure. Blood takes time
    to leave the segment, and a pliant artery's more: at the tone the peak shows a few percent less than at rest, which
    the instrument takes off for the peak alone, so that half the compliance looks like 1.02 times half.
    """
    law = law_at(rig.plant.artery, 0.0)
    found = []
    for offset in (0.0, -law.below_mmHg if side < 0.0 else law.above_mmHg):
        point = clamp(rig, 100.0, 0.0, offset)
        one = session(rig, np.full(26_001, 100.0))
        slope = abs(point.light_slope)
        one.ask(Hold(point.state.cuff_mmHg, 3.0), instrument)
        one.ask(Clamp(point.light, slope, 20.0), instrument)
        seen = one.ask(Clamp(point.light, slope, 2.5, 0.0, 0.5), instrument)
        found.append(float(np.median(local_slopes(seen, instrument, 0.5).slope)))
    assert found[1] / found[0] == pytest.approx(0.5, rel=0.03)


# --- light (2.4, 2.6) -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("emitter", [0.5, 1.4])
def test_another_lamp_gives_the_same_set_point_in_its_light(rig: Rig, instrument: Instrument, emitter: float) -> None:
    """I = I0 e^{−Σμd}; Delpy et al. 1988 for the modified form [memory, high] (2.4): a lamp times a constant leaves
    AC/DC. So it leaves every rise, and the search finds the same artery, at a light times that constant.
    """
    found = []
    for drive in (1.0, emitter):
        own = rig._replace(plant=rig.plant._replace(light=rig.plant.light._replace(emitter=drive)))
        outcome = session(own, beating(30.0)).follow(ArctangentSearch().search(instrument), instrument)
        assert isinstance(outcome, Found)
        found.append(outcome)
    assert found[1].set_point / found[0].set_point == pytest.approx(emitter, rel=1e-6)
    assert found[1].light_slope / found[0].light_slope == pytest.approx(emitter, rel=1e-6)
    assert found[1].cuff_mmHg == pytest.approx(found[0].cuff_mmHg, abs=1e-3)
    assert found[1].sd_mmHg == pytest.approx(found[0].sd_mmHg, rel=1e-6)


@pytest.mark.parametrize("veins", [0.1, 0.9])
def test_a_steady_layer_in_front_adds_its_depth_and_no_rise(veins: float) -> None:
    """Optical densities add: Beer–Lambert [memory, high] (2.4). A steady venous layer moves the foot of a beat by its
    μ d and leaves its rise, ΔOD = μ Δd of the artery alone.
    """
    light = Light(ambient=0.0)
    area = 0.5 + 0.1 * np.sin(2 * np.pi * 1.25 * np.arange(3000) * TICK_s)
    steps = []
    for volume in (0.0, veins):
        lit = np.array([light_intensity(light, a, volume, 0.0) for a in area])
        steps.append(measure(Seen(lit, np.full(3000, 90.0), lit * 0.0, lit * 0.0), 0.0, TICK_s))
    per_area = light.arterial_absorption_per_cm * light.arterial_path_cm
    layer = light.venous_absorption_per_cm * light.venous_path_cm * veins
    assert steps[1].foot - steps[0].foot == pytest.approx(layer, rel=2e-3)
    assert steps[1].rise == pytest.approx(steps[0].rise, rel=1e-9)
    # within 0.3 s a sine of 0.8 s period rises by 2 sin(π 0.3/0.8) of its amplitude, less the smoothing of 30 ms
    assert steps[0].rise == pytest.approx(per_area * 0.1 * 2.0 * math.sin(math.pi * 0.3 / 0.8), rel=0.02)


def test_invented_fingers_pulsate_as_much_as_fingers_do() -> None:
    """AC/DC of finger infrared "0.1–20 % with tone" [memory, medium] (2.6), so a band two times wide: 0.05–40 %, for
    every finger of a population at its best cuff pressure, and as the staircase's own measure of it.
    """
    wrist = load_rig("wrist")
    bare = Instrument(TICK_s, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j)
    for finger in sample_fingers(12, "mixed", 5):
        own = on_finger(wrist, finger)
        at = pulsation(own.plant, finger.pressure.systolic_mmHg, finger.pressure.diastolic_mmHg, finger.tone.level)
        one = Session(own, finger_inputs(own, finger, 8.0), 1, SUBSTEPS)
        step = measure(one.ask(Hold(min(at.cuff_mmHg, 240.0), 7.0), bare), 4.0, TICK_s)
        for share in (at.share, step.rise):
            assert 0.0005 < share < 0.40
        assert step.rise < 1.3 * at.share  # a quick rise is no more than the swing of the static law's quick share


def test_the_pulse_lies_within_the_band_of_finger_light() -> None:
    """What is useful of finger light lies in 0.01–15 Hz: Kamal et al. 1989 [seen] (2.6). So does all but a hundredth of
    what a step's light swings on an invented finger; taken as power about the mean.
    """
    wrist = load_rig("wrist")
    bare = Instrument(TICK_s, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j)
    light = session(wrist, beating(20.0)).ask(Hold(85.0, 18.0), bare).light[6000:]
    window = np.hanning(len(light))
    power = np.abs(np.fft.rfft((light - np.mean(light)) * window)) ** 2
    frequency = np.fft.rfftfreq(len(light), TICK_s)
    assert np.sum(power[frequency > 15.0]) < 0.01 * np.sum(power[1:])


# --- creep of the standard linear solid (1.13) ------------------------------------------------------------------


def solid(rig: Rig, before: float, after: float, time_s: np.ndarray) -> np.ndarray:
    """Area after a step of transmural pressure: A∞ − (1 − φ)(A∞ − A0) e^{−t/τ}, from rest at A0."""
    artery = rig.plant.artery
    first, last = (float(static_area(artery, p, 0.0)) for p in (before, after))
    return last - (1.0 - artery.fast_fraction) * (last - first) * np.exp(-time_s / artery.creep_time_s)


@pytest.mark.parametrize(("before", "after"), [(60.0, 20.0), (5.0, 35.0), (90.0, 100.0)])
def test_a_step_of_arterial_pressure_creeps_by_the_closed_form(rig: Rig, before: float, after: float) -> None:
    """Creep of a standard linear solid, σ (1/E∞ − (1/E∞ − 1/E0) e^{−t/τ}): textbook [computed] (1.13). In the compiled
    kernel, to three time constants; the cuff is empty. Once blood has filled the segment, the creep left decays by
    e^{−t/τ} to the last digits; what filling it late has cost the creep is less than its share of a time constant.
    """
    seconds = 3.0 * rig.plant.artery.creep_time_s
    bare = Instrument(TICK_s, 240.0, 0.0, 0.009, 36.0, 1.0 + 0.0j)
    ticks = bare.ticks(seconds)
    arterial = np.full(ticks + 1, after)
    arterial[0] = before
    one = session(rig, arterial)
    one.ask(Vent(seconds), bare)
    rows = one.blocks[0]
    assert np.max(np.abs(rows[:, COLUMN["external_mmHg"]])) < 1e-3
    time = np.arange(ticks) * TICK_s - 0.5 * TICK_s  # the step is a straight line over the first tick
    expected = solid(rig, before, after, time)
    last = float(static_area(rig.plant.artery, after, 0.0))
    moved = abs(expected[-1] - float(static_area(rig.plant.artery, before, 0.0)))
    full = round(FILLED_s / TICK_s)
    area = rows[full:, COLUMN["area"]]
    decayed = last + (area[0] - last) * np.exp(-(time[full:] - time[full]) / rig.plant.artery.creep_time_s)
    assert area == pytest.approx(decayed, abs=2e-5 * moved + 1e-7)
    assert area == pytest.approx(expected[full:], abs=LATE_s / rig.plant.artery.creep_time_s * moved)


@pytest.mark.parametrize("held_s", [1.0, 4.0, 12.0])
def test_recovery_after_a_load_is_the_superposition_of_two_steps(rig: Rig, held_s: float) -> None:
    """Boltzmann's superposition [computed] (1.13): loaded for T, then unloaded, the creep left is
    (1 − φ)(A1 − A0)(1 − e^{−T/τ}) e^{−(t − T)/τ}, whatever the law of areas, once blood has left the segment.
    """
    artery = rig.plant.artery
    bare = Instrument(TICK_s, 240.0, 0.0, 0.009, 36.0, 1.0 + 0.0j)
    count, held = bare.ticks(held_s + 8.0), round(held_s / TICK_s)
    arterial = np.full(count + 1, 15.0)
    arterial[1 : held + 1] = 60.0
    one = session(rig, arterial)
    one.ask(Vent(held_s + 8.0), bare)
    rest, loaded = (float(static_area(artery, p, 0.0)) for p in (15.0, 60.0))
    after = np.arange(held + round(FILLED_s / TICK_s), count)
    left = one.blocks[0][after, COLUMN["area"]] - rest
    share = 1.0 - math.exp(-held_s / artery.creep_time_s)
    expected = (1.0 - artery.fast_fraction) * (loaded - rest) * share
    expected = expected * np.exp(-(after - held - 0.5) * TICK_s / artery.creep_time_s)
    assert left == pytest.approx(expected, rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("turns", [0.1, 1.0, 10.0])
def test_dynamic_compliance_of_the_kernel_is_that_of_the_solid(rig: Rig, turns: float) -> None:
    """J*(ω) = J0 + (J∞ − J0)/(1 + jωτ) for a small oscillation [computed] (1.13), at ωτ = 0.1, 1, 10."""
    artery = rig.plant.artery
    omega = turns / artery.creep_time_s
    period = round(2 * np.pi / omega / TICK_s)
    ticks = 4 * period // 50 * 50
    time = np.arange(ticks + 1) * TICK_s
    one = session(rig, 15.0 + 0.5 * np.sin(omega * time))
    bare = Instrument(TICK_s, 240.0, 0.0, 0.009, 36.0, 1.0 + 0.0j)
    one.ask(Vent(ticks * TICK_s), bare)
    last = slice(ticks - 2 * period, ticks)
    turn = np.exp(-1j * omega * time[last])
    area = one.blocks[0][last, COLUMN["area"]]
    found = complex(2j * np.mean((area - np.mean(area)) * turn)) / 0.5
    step = 1e-3
    at_rest = (float(static_area(artery, 15.0 + step, 0.0)) - float(static_area(artery, 15.0 - step, 0.0))) / (2 * step)
    expected = at_rest * (artery.fast_fraction + (1.0 - artery.fast_fraction) / (1.0 + 1j * turns))
    assert abs(found - expected) < 0.01 * abs(expected)


def test_a_step_of_cuff_pressure_shows_the_creep_in_the_light_and_hardly_in_a_rise(rig: Rig) -> None:
    """Once tissue and cuff have settled, optical depth follows the closed form [computed] (1.13); within the third of a
    second of a rise it moves by less than 1 − e^{−0.33/τ} of the creep.
    """
    artery, light = rig.plant.artery, rig.plant.light
    bare = Instrument(TICK_s, 240.0, 0.0, 0.009, 36.0, 1.0 + 0.0j)
    one = session(rig, np.full(40_001, 95.0))
    one.ask(Hold(120.0, 32.0), bare)
    seen = one.ask(Hold(80.0, 8.0), bare)
    transmural = 95.0 - one.blocks[1][-1, COLUMN["external_mmHg"]]
    before = 95.0 - one.blocks[0][-1, COLUMN["external_mmHg"]]
    time = np.arange(500, 8000) * TICK_s
    expected = light.arterial_absorption_per_cm * light.arterial_path_cm * solid(rig, before, transmural, time)
    depth = -np.log(seen.light[500:] / (light.emitter * light.transmission))
    creep = abs(expected[-1] - expected[0])
    assert np.max(np.abs(depth - expected)) < 0.05 * creep
    largest = max((size for size, _ in rises(depth, TICK_s)), default=0.0)
    assert 0.0 < largest < 1.2 * (1.0 - math.exp(-0.33 / artery.creep_time_s)) * creep / (1.0 - math.exp(-7.5 / 4.0))


def test_the_search_holds_the_artery_where_its_pressure_is_that_of_peak_compliance(
    rig: Rig, instrument: Instrument
) -> None:
    """A clamp at the unloaded volume reads p_a − p0: Peñáz 1973 [memory, high] (1.15), here with the set point that the
    search found, over beats, and not with the one that only the simulation knows.
    """
    one = session(rig, beating(40.0))
    outcome = one.follow(ProbingSearch().search(instrument), instrument)
    assert isinstance(outcome, Found)
    one.ask(Clamp(outcome.set_point, outcome.light_slope, 1.0), instrument)
    seen = one.ask(Clamp(outcome.set_point, outcome.light_slope, 3.0), instrument)
    rows = one.blocks[-1]
    assert abs(transmural_error(rows, rig, np.zeros(len(rows)))) < 1.5
    ideal = rows[:, COLUMN["arterial_mmHg"]] - float(unloaded_pressure(rig.plant.artery, 0.0))
    assert np.corrcoef(seen.reading_mmHg, ideal)[0, 1] > 0.99
