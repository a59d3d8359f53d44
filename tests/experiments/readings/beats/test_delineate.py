import numpy as np
import pytest

from experiments.readings.beats.delineate import marks_of, smoothed
from plant.circulation.ejection import ejection_s
from plant.circulation.person import drawn_person, person_of, usual_physiology
from plant.circulation.state import steady_state


def test_marks_of_a_triangle_can_be_worked_out() -> None:
    """From 70 up to 120 within 0.2 s and down again until 1 s: mean 95, areas that make 25 mmHg s."""
    time = np.arange(1001) * 1e-3
    marks = marks_of(70 + 50 * np.where(time < 0.2, time / 0.2, (1 - time) / 0.8), 1e-3)
    assert (marks.interval_s, marks.systolic_mmHg, marks.diastolic_mmHg) == pytest.approx((1.0, 120.0, 70.0))
    assert marks.mean_mmHg == pytest.approx(95.0, abs=1e-3) and marks.peak_s == pytest.approx(0.2)
    assert marks.systolic_area_mmHg_s + marks.diastolic_area_mmHg_s == pytest.approx(25.0, abs=1e-3)
    assert marks.slope_mmHg_s == pytest.approx(250.0, rel=1e-3) and marks.roughness_mmHg < 0.1


def test_the_notch_is_where_a_kink_is() -> None:
    time = np.arange(801) * 1e-3
    wave = 70 + 40 * np.sin(np.pi * np.clip(time / 0.28, 0, 1)) + 12 * np.where(time > 0.28, np.exp(
        -((time - 0.36) / 0.05) ** 2), 0)
    marks = marks_of(wave, 1e-3)
    assert marks.notch_s == pytest.approx(0.285, abs=0.015)
    shorter = marks_of(70 + 50 * np.clip(np.sin(np.pi * time / 0.8), 0, 1), 1e-3)  # no notch at all
    assert 0.16 < shorter.notch_s < 0.5


def test_a_rough_beat_shows_its_roughness() -> None:
    noise = 3.0 * np.random.default_rng(1).standard_normal(801)
    assert 2.0 < marks_of(90 + 30 * np.sin(np.arange(801) / 255) + noise, 1e-3).roughness_mmHg < 3.5


def test_the_notch_marks_the_end_of_ejection_on_the_upper_arm() -> None:
    """Over drawn people: the delay against the flow's end is nearly the same for all, few are far off."""
    late = []
    for seed in range(2000, 2020):
        person, state = drawn_person(seed)
        found = steady_state(person, state)
        interval = 60.0 / state.rate_per_min
        start = int(np.argmin(found.arm_mmHg))
        wave = np.interp(np.arange(0.0, interval, 1e-3), found.time_s, np.roll(found.arm_mmHg, -start), period=interval)
        late.append(marks_of(np.append(wave, wave[0]), 1e-3).notch_s - found.ejection_s)
    off = np.abs(np.array(late) - np.median(late))
    assert np.mean(off > 0.04) <= 0.05


def test_smoothing_keeps_a_constant() -> None:
    assert smoothed(np.full(20, 3.0), 4.0) == pytest.approx(np.full(20, 3.0))
    person = person_of(30.0, "m")
    assert ejection_s(usual_physiology(person).rate_per_min, 67.0) > 0.2
