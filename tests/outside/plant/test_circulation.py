"""Scenarios of tone and circulation, and the hydrostatic correction, against what others published.

Numbers in brackets are those of the list of references; [seen] was read in the source, [memory] was not looked up,
[computed] is mathematics.
"""
import numpy as np
import pytest
from scipy import optimize, signal

from calibrate.height import (
    HeightCorrection,
    HeightSensor,
    Zero,
    column_mmHg,
    corrected_pressure,
    sensed_height,
    zero_sensor,
)
from experiments.calibration.height.study import HeightStudy, study_height
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import simulate
from plant.finger.artery import Artery, largest_area
from plant.finger.tone import ToneDrive
from plant.pressure.beats import beat_values, detect_beats
from plant.pressure.events import HandRaised, apply
from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import STEADY, SyntheticPressure, synthesise
from plant.scenarios.events import ArmOcclusion, StandingUp
from plant.scenarios.scenario import SCENARIOS, Scenario, scenario_inputs

PERIOD = 2e-3


def made(scenario, pressure=STEADY, seconds=600.0, seed=1, period=PERIOD):
    return scenario_inputs(scenario, pressure, ToneDrive(), 0.02, period, seconds, seed)


def alone(*events):
    return Scenario("alone", "one event", "see the event", "see the event", events)


# --- 5.2: height -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("density", "column"), [(1050.0, 7.723), (1055.0, 7.760), (1060.0, 7.797)])
def test_ten_centimetres_of_blood(density, column):
    """5.2: ρ g h of 10 cm [computed]."""
    assert column_mmHg(np.array([0.1]), HeightCorrection(density))[0] == pytest.approx(column, abs=5e-4)


def test_raised_hand_with_a_sensor_of_its_own_faults():
    """5.2: 40 cm in 10 s, calculated −31.0 mmHg, measured −31.2, −30.4, −30.0 (Raamat et al. 2009, n = 14) [seen]:
    −31.0 ± 1 as read, corrected to within 1, while moving too; hand up, add."""
    heart = synthesise(SyntheticPressure(), PERIOD, 60.0, 1)
    finger = apply(heart, HandRaised(0.40, 20.0, 0.04))
    time = np.arange(len(heart.pressure_mmHg)) * PERIOD
    sensed = sensed_height(HeightSensor(), 0.04 * np.clip(time - 20.0, 0.0, 10.0), PERIOD, 1)
    zero = zero_sensor(sensed[: round(15.0 / PERIOD)], PERIOD)
    assert isinstance(zero, Zero)
    shift = finger.pressure_mmHg - heart.pressure_mmHg
    assert shift[time > 30.0] == pytest.approx(-31.0, abs=1.0)
    left = corrected_pressure(finger.pressure_mmHg, sensed, zero) - heart.pressure_mmHg
    slow = left[: len(left) // 100 * 100].reshape(-1, 100).mean(axis=1)  # 0.2 s: the sensor's noise is not the point
    assert np.all(np.abs(slow) < 1.0)
    wrong_sign = finger.pressure_mmHg - column_mmHg(sensed - zero.height_m) - heart.pressure_mmHg
    assert np.all(wrong_sign[time > 31.0] < -60.0)


@pytest.mark.parametrize(("veins_cm", "gain", "most"), [(0.0, 1.01, 0.5), (0.04, 1.0, 1.0), (0.04, 1.01, 1.4)])
def test_raised_hand_in_the_clamp(veins_cm, gain, most, record_property):
    """5.2, the same with the wrist rig's own clamp in the coupled simulation, beat by beat [seen].

    Where the light sees veins, they fill again under the lower cuff pressure, and a set point that stays is then 0.8
    mmHg off; a sensor with a gain 1 % too large adds 0.3. Neither is the column's doing.
    """
    rig = load_rig("wrist", [f"light.venous_path_cm={veins_cm}"])
    story = (HandRaised(0.40, 20.0, 0.04),)
    found = study_height(rig, HeightSensor(gain=gain), STEADY, 1, story=story, seconds=40.0)
    assert isinstance(found, HeightStudy)
    rest, up = (found.beat_s > 12) & (found.beat_s < 19), found.beat_s > 32
    change = np.mean(found.reading_mmHg[up]) - np.mean(found.reading_mmHg[rest])
    corrected = np.mean(found.corrected_mmHg[up]) - np.mean(found.corrected_mmHg[rest])
    record_property("40 cm", f"as read {change:.2f} mmHg, corrected {corrected:+.2f} mmHg")
    assert change == pytest.approx(-31.0, abs=1.0) and abs(corrected) < most


# --- 7.1, 7.2: slow waves --------------------------------------------------------------------------------------


def spectral_peak(samples, period, low_Hz, high_Hz):
    """Frequency [Hz] of the largest power spectral density (Welch) of 5 Hz averages within a band."""
    width = round(0.2 / period)
    slow = samples[: len(samples) // width * width].reshape(-1, width).mean(axis=1)
    frequency, density = signal.welch(slow, 5.0, nperseg=512, detrend="linear")
    band = (frequency >= low_Hz) & (frequency <= high_Hz)
    return frequency[band][np.argmax(density[band])]


@pytest.mark.parametrize("name", ["waves_weak", "waves_strong", "quiet"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_waves_near_a_tenth_of_a_hertz(name, seed):
    """7.1: about 0.1 Hz in man (Julien 2006) [seen second-hand]; amplitude 2–6 mmHg [memory, low]."""
    found = made(name, SyntheticPressure(), seed=seed, period=1e-2)
    assert 0.08 <= spectral_peak(found.arterial_mmHg, 1e-2, 0.05, 0.2) <= 0.12
    if name != "quiet":
        assert 0.08 <= spectral_peak(found.tone, 1e-2, 0.05, 0.2) <= 0.12


def test_size_of_the_waves():
    """7.1: 2–6 mmHg [memory, low]: a plausibility band, twice as wide."""
    for name, low, high in (("waves_weak", 1.0, 4.0), ("waves_strong", 3.0, 12.0)):
        found, still = made(name, period=1e-2), made("quiet", period=1e-2)
        swing = np.sqrt(2) * np.std(found.arterial_mmHg - still.arterial_mmHg)
        assert low < swing < high


@pytest.mark.parametrize("breaths", [10, 15, 22])
@pytest.mark.parametrize("name", ["quiet", "cold", "waves_strong"])
def test_respiration_shows_at_its_rate(name, breaths):
    """7.2: respiratory band 0.15–0.4 Hz (Task Force 1996) [memory, high]: the peak is at the set rate."""
    found = made(name, SyntheticPressure(respiration_per_min=float(breaths)), period=1e-2)
    assert spectral_peak(found.arterial_mmHg, 1e-2, 0.14, 0.45) == pytest.approx(breaths / 60, abs=0.011)


# --- 7.3: cold -------------------------------------------------------------------------------------------------


def pressures(found, first, last, period=PERIOD):
    """Mean systolic and diastolic pressure of the beats in a stretch [mmHg]."""
    onsets = detect_beats(found.heart_mmHg, period)
    values = beat_values(found.heart_mmHg, onsets[(onsets > first / period) & (onsets < last / period)], period)
    return np.array([np.mean(values.systolic_mmHg), np.mean(values.diastolic_mmHg)])


@pytest.mark.parametrize(
    ("name", "rest", "cold", "within"),
    [("cold", (120.0, 75.0), (125.5, 80.5), 1.0), ("cold_strong", (121.0, 75.0), (144.0, 90.0), 1.0)],
)
def test_cold_raises_pressure_while_the_finger_constricts(name, rest, cold, within):
    """7.3: typical +5–6 mmHg systolic and diastolic; 28 % exaggerated, 121→144 / 75→90 (Merrill 2017) [seen]."""
    pressure = STEADY._replace(systolic_mmHg=rest[0], diastolic_mmHg=rest[1])
    found, quiet = made(name, pressure, 1200.0), made("quiet", pressure, 1200.0)
    rise = pressures(found, 480, 590) - pressures(quiet, 480, 590)
    assert np.array(rest) + rise == pytest.approx(np.array(cold), abs=within)
    tone = found.tone - quiet.tone
    start, late = round(180 / PERIOD), round(590 / PERIOD)
    assert np.all(np.diff(tone[start:late]) > -1e-9) and tone[late] > 1.0
    assert largest_area(Artery(), float(tone[late])) < 0.5 * largest_area(Artery(), 0.0)
    assert found.tone[-1] - quiet.tone[-1] < 0.15 * tone[late]  # warm again


def test_the_rise_is_near_its_plateau_within_two_minutes():
    """7.3: plateau after about 1–2 min [memory, medium]: a plausibility band, twice as wide."""
    found, quiet = made("cold_strong", seconds=3600.0, period=1e-2), made("quiet", seconds=3600.0, period=1e-2)
    rise = found.heart_mmHg - quiet.heart_mmHg
    start = 0.15 * 3600
    slow = [np.mean(rise[round((start + t) / 1e-2) : round((start + t + 6) / 1e-2)]) for t in (30, 120, 240, 1000)]
    assert slow[0] < 0.7 * slow[3] and 0.85 * slow[3] < slow[1] and slow[2] > 0.95 * slow[3]


# --- 7.4: reactive hyperaemia ----------------------------------------------------------------------------------


@pytest.mark.parametrize("event", [ArmOcclusion(), ArmOcclusion(fast_half_life_s=15.0, slow_half_life_s=60.0)])
def test_half_lives_of_reactive_hyperaemia(event):
    """7.4: after 5 min, a fast exponential with a half-life of 14–45 s and a slow one of 50–560 s (Imms et al. 1988)
    [seen]: fitted to the tone that the finger is given, from the release on."""
    found, quiet = made(alone(event), seconds=1800.0, period=1e-2), made("quiet", seconds=1800.0, period=1e-2)
    opened = next(time for time, word in found.marks if word == "arm opened")
    first = round((opened + 1.0) / 1e-2)
    since = (np.arange(first, len(found.tone), 100) * 1e-2) - opened
    dilation = (quiet.tone - found.tone)[first::100]

    def two(time, a, fast, b, slow):
        return a * 0.5 ** (time / fast) + b * 0.5 ** (time / slow)

    (_, fast, _, slow), _ = optimize.curve_fit(two, since, dilation, p0=(0.5, 20.0, 0.5, 200.0))
    assert 14.0 <= fast <= 45.0 and 50.0 <= slow <= 560.0
    assert (fast, slow) == pytest.approx((event.fast_half_life_s, event.slow_half_life_s), rel=0.02)


def test_the_finger_is_wide_after_the_release():
    """7.4: maximal dilation is measured 60–90 s after [seen]: most of it is still there, none before the release."""
    found, quiet = made("occlusion", seconds=1800.0, period=1e-2), made("quiet", seconds=1800.0, period=1e-2)
    opened = next(time for time, word in found.marks if word == "arm opened")
    at = {t: (quiet.tone - found.tone)[round((opened + t) / 1e-2)] for t in (-10, 1, 30, 75)}
    assert at[-10] == 0.0 and at[1] > 0.9 and at[30] > 0.5 * at[1] and at[75] > 0.2 * at[1]


# --- 7.5: standing up ------------------------------------------------------------------------------------------


def stood_up(seed, event=None):
    """Beat times since standing up [s] and the change of systolic pressure [mmHg] against the same beats at rest."""
    story = alone(event) if event else SCENARIOS["standing"]
    found, quiet = made(story, STEADY, 600.0, seed), made("quiet", STEADY, 600.0, seed)
    start = next(time for time, word in found.marks if word == "stands up")
    onsets = detect_beats(quiet.heart_mmHg, PERIOD)
    values, rest = (beat_values(f.heart_mmHg, onsets, PERIOD) for f in (found, quiet))
    middle = 0.5 * (onsets[1:] + onsets[:-1]) * PERIOD - start
    return middle, values.systolic_mmHg - rest.systolic_mmHg, values.diastolic_mmHg - rest.diastolic_mmHg


@pytest.mark.parametrize("seed", [1, 2])
def test_nadir_after_standing_up(seed):
    """7.5: mean fall −33 ± 21 mmHg with active standing, nadir within 15–20 s (n = 38) [seen]; above 40/20 within 15 s
    would be initial, 20/10 at 3 min classical orthostatic hypotension [seen], and neither is meant here."""
    time, systolic, diastolic = stood_up(seed)
    soon = (time > 0.0) & (time < 60.0)
    lowest = int(np.argmin(systolic[soon]))
    assert systolic[soon][lowest] == pytest.approx(-33.0, abs=2.0)
    assert 2.0 < time[soon][lowest] <= 15.0
    assert np.min(systolic[soon]) > -40.0 and np.min(diastolic[soon]) > -20.0
    assert np.all(np.abs(systolic[(time > 45.0) & (time < 200.0)]) < 5.0)
    assert np.all(diastolic[(time > 45.0) & (time < 200.0)] > -5.0) and np.all(systolic[time < -1.0] == 0.0)


@pytest.mark.parametrize(("fall", "nadir"), [(12.0, 8.0), (54.0, 18.0)])
def test_one_standard_deviation_either_way(fall, nadir):
    """7.5: −33 ± 21, nadir up to 20 s [seen]: the event takes these sizes and keeps to its time."""
    time, systolic, _ = stood_up(1, StandingUp(systolic_fall_mmHg=fall, nadir_s=nadir))
    soon = (time > 0.0) & (time < 60.0)
    lowest = int(np.argmin(systolic[soon]))
    assert systolic[soon][lowest] == pytest.approx(-fall, rel=0.06)
    assert time[soon][lowest] == pytest.approx(nadir, abs=2.0) and time[soon][lowest] <= 20.0


def test_standing_up_does_not_unlock_the_loop():
    """7.5: the wrist rig's clamp goes along with the fall: it neither saturates nor diverges nor lags behind."""
    rig = load_rig("wrist")
    found = made("standing", SyntheticPressure(), 60.0, 1, rig.timing.period_s)
    trace = PressureTrace(found.arterial_mmHg, rig.timing.period_s, np.ones(len(found.tone), bool), "standing", "")
    run = simulate(rig, trace)
    assert run.status == "done"
    error = (run.channels["cuff_mmHg"] - run.ideal_mmHg)[run.counted]
    assert np.sqrt(np.mean(error**2)) < 3.0 and np.ptp(trace.pressure_mmHg) > 60.0
