import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.height import (
    HeightCorrection,
    HeightSensor,
    NotZeroed,
    Zero,
    Zeroing,
    column_mmHg,
    corrected_pressure,
    error_budget,
    lagged,
    sensed_height,
    zero_sensor,
)
from plant.declare import declared
from plant.errors import InputError
from plant.units import hydrostatic_mmHg

PERFECT = HeightSensor(0.0, 1.0, 0.0, 0.0, 0.0)
STILL = Zero(0.0, 0.0, 0.0)
PERIOD = 1e-2


@pytest.mark.parametrize("part", [HeightSensor, Zeroing, HeightCorrection])
def test_every_parameter_is_declared(part):
    assert all(p.unit and p.meaning and p.source for p in declared(part))


@given(st.lists(st.floats(-1, 1), min_size=1, max_size=20), st.floats(0, 200))
def test_a_perfect_sensor_gives_back_the_pressure_at_the_heart(heights, heart):
    """The law of communicating columns: p_heart = p_finger + ρ g h, for a hand up and a hand down alike."""
    height = np.array(heights)
    finger = heart - hydrostatic_mmHg(1.0) * height
    corrected = corrected_pressure(finger, sensed_height(PERFECT, height, PERIOD, 1), STILL)
    assert corrected == pytest.approx(np.full(len(height), heart), abs=1e-9)


def test_hand_up_adds_and_hand_down_takes_away():
    up, down = corrected_pressure(np.array([60.0, 60.0]), np.array([0.1, -0.1]), STILL)
    assert up == pytest.approx(67.76, abs=0.005) and down == pytest.approx(52.24, abs=0.005)


def test_density_scales_the_column():
    light, heavy = (column_mmHg(np.array([0.1]), HeightCorrection(d))[0] for d in (1050.0, 1060.0))
    assert heavy / light == pytest.approx(1060 / 1050, rel=1e-12)


@given(st.floats(0.05, 5.0), st.floats(-0.2, 0.2))
@settings(max_examples=20)
def test_lag_behind_a_ramp_is_speed_times_time_constant(lag, speed):
    """First-order lag under a ramp: behind by v τ (1 − e^{−t/τ}), in closed form, whatever the tick."""
    time = np.arange(2000) * PERIOD
    behind = speed * time - lagged(speed * time, PERIOD, lag)
    assert behind == pytest.approx(speed * lag * (1 - np.exp(-time / lag)), abs=1e-9)


def test_lag_does_not_depend_on_the_tick():
    """The same ramp at a tenth of the tick passes through the same points."""
    fine = np.linspace(0.0, 0.4, 1001)
    assert lagged(fine, 1e-3, 0.2)[::10] == pytest.approx(lagged(fine[::10], 1e-2, 0.2), abs=1e-12)


def test_noise_is_repeatable_and_of_its_size():
    sensor = PERFECT._replace(noise_m=0.003)
    readings = sensed_height(sensor, np.zeros(40_000), PERIOD, 5)
    assert np.array_equal(readings, sensed_height(sensor, np.zeros(40_000), PERIOD, 5))
    assert not np.array_equal(readings, sensed_height(sensor, np.zeros(40_000), PERIOD, 6))
    assert np.std(readings) == pytest.approx(0.003, rel=0.02) and abs(np.mean(readings)) < 6 * 0.003 / 200


def test_drift_goes_on_for_an_hour():
    readings = sensed_height(PERFECT._replace(drift_m_h=0.006), np.zeros(3601), 1.0, 1)
    assert readings[-1] == pytest.approx(0.006) and readings[1800] == pytest.approx(0.003)


# --- zeroing ---------------------------------------------------------------------------------------------------


@given(st.floats(-0.29, 0.29), st.integers(0, 1000))
@settings(max_examples=25)
def test_zeroing_takes_the_offset_away(offset, seed):
    sensor = HeightSensor(offset_m=offset, drift_m_h=0.0, gain=1.0)
    zero = zero_sensor(sensed_height(sensor, np.zeros(1000), PERIOD, seed), PERIOD)
    assert isinstance(zero, Zero)
    assert abs(zero.height_m - offset) < 5.5 * zero.standard_error_m
    assert zero.standard_error_m == pytest.approx(0.002 / np.sqrt(500), rel=0.2)


@pytest.mark.parametrize(
    ("readings", "reason", "told"),
    [
        (np.zeros(499), "too short", "for 5 s"),
        (np.linspace(0.0, 0.05, 500), "moved", "keep it still"),
        (np.full(500, 0.4), "out of place", "40 cm"),
        (np.full(500, np.nan), "no reading", "connection"),
    ],
)
def test_a_bad_zero_is_refused_with_its_reason(readings, reason, told):
    refused = zero_sensor(readings, PERIOD)
    assert isinstance(refused, NotZeroed) and refused.reason == reason and told in refused.message


def test_noise_does_not_count_as_motion_and_only_the_end_counts():
    noisy = sensed_height(PERFECT._replace(noise_m=0.01), np.zeros(500), PERIOD, 1)
    assert np.ptp(noisy) > 0.05 and isinstance(zero_sensor(noisy, PERIOD), Zero)
    waved = np.concatenate([np.full(300, 0.5), np.full(500, 0.01)])
    assert zero_sensor(waved, PERIOD) == Zero(pytest.approx(0.01), pytest.approx(0.0, abs=1e-9), pytest.approx(0.0))


def test_motion_shorter_than_a_stretch_is_seen_with_a_short_average():
    short = Zeroing(average_s=0.5)
    assert isinstance(zero_sensor(np.linspace(0.0, 0.03, 50), PERIOD, short), NotZeroed)
    assert isinstance(zero_sensor(np.linspace(0.0, 0.01, 50), PERIOD, short), Zero)


# --- what is left ----------------------------------------------------------------------------------------------


@given(
    st.floats(0.9, 1.1), st.floats(-0.02, 0.02), st.floats(-0.5, 0.5), st.floats(0.0, 2.0), st.floats(-0.03, 0.03),
    st.floats(-5, 5),
)
@settings(max_examples=40)
def test_the_budget_is_what_happens(gain, drift, height, hours, placement, denser):
    """Corrected minus true of the whole procedure equals the budget's parts, but for products of two small ones."""
    sensor = HeightSensor(0.02, gain, 0.0, 0.0, drift)
    count = 2 + round(hours * 3600)
    zero = zero_sensor(sensed_height(sensor._replace(drift_m_h=0.0), np.full(5, placement), 1.0, 1), 1.0)
    assert isinstance(zero, Zero)
    finger = np.full(count, 90.0 - hydrostatic_mmHg(height) * (1055 - denser) / 1055)
    corrected = corrected_pressure(finger, sensed_height(sensor, np.full(count, height), 1.0, 1), zero)
    budget = error_budget(sensor, height, 0.0, (count - 1) / 3600, placement, denser)
    parts = budget.gain_mmHg + budget.density_mmHg + budget.drift_mmHg + budget.placement_mmHg
    assert corrected[-1] - 90.0 == pytest.approx(parts, abs=0.01)
    assert abs(corrected[-1] - 90.0) <= budget.remaining_mmHg + 0.01


def test_budget_of_a_moving_hand():
    sensor = PERFECT._replace(lag_s=0.5)
    time = np.arange(1001) * PERIOD
    height = 0.04 * time
    error = corrected_pressure(90 - column_mmHg(height), sensed_height(sensor, height, PERIOD, 1), STILL) - 90
    assert error[-1] == pytest.approx(error_budget(sensor, 0.4, speed_m_s=0.04).lag_mmHg, rel=1e-4)


def test_ten_centimetres_without_and_with_correction():
    """An uncorrected 10 cm is 7.76 mmHg at 1055 kg/m³; the usual sensor leaves less than 0.6 after an hour."""
    budget = error_budget(HeightSensor(), 0.1, hours_h=1.0)
    assert budget.uncorrected_mmHg == pytest.approx(-7.76, abs=0.005)
    assert 0.0 < budget.remaining_mmHg < 0.6 and budget.noise_mmHg == pytest.approx(0.155, abs=0.001)


# --- bad input -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: sensed_height(HeightSensor(gain=2.0), np.zeros(3), PERIOD, 1), "HeightSensor.gain = 2"),
        (lambda: sensed_height(HeightSensor(), np.array([0.0, np.nan]), PERIOD, 1), "finite numbers"),
        (lambda: sensed_height(HeightSensor(), np.zeros(0), PERIOD, 1), "at least one"),
        (lambda: sensed_height(HeightSensor(), np.zeros(3), 0.0, 1), "period_s = 0"),
        (lambda: corrected_pressure(np.zeros(3), np.zeros(4), STILL), "(3,)"),
        (lambda: corrected_pressure(np.zeros(3), np.zeros(3), STILL, HeightCorrection(900.0)), "density_kg_m3 = 900"),
        (lambda: zero_sensor(np.zeros(600), PERIOD, Zeroing(average_s=0.0)), "average_s = 0"),
        (lambda: error_budget(HeightSensor(lag_s=-1.0), 0.1), "lag_s = -1"),
    ],
)
def test_bad_input(call, told):
    with pytest.raises(InputError) as caught:
        call()
    assert told in str(caught.value) and "\n" not in str(caught.value)
