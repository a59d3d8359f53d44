"""The staircase on a finger that answers by the arctangent law, without a kernel."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Failed, Hold, Instrument
from calibrate.search.staircase import (
    FALLEN,
    Staircase,
    climb,
    lowest_of,
    measure,
    optical_depth,
    rises,
    saturated,
    too_loose,
)

SHARP = {"width_mmHg": 4.0, "pulse_mmHg": 20.0}  # pulsates over a narrow range of pressures only


# --- beats in the light -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [40.0, 60.0, 75.0, 110.0, 150.0])
@pytest.mark.parametrize("drift", [-0.03, 0.0, 0.03])
def test_each_beat_rises_once_and_by_its_size(pulse: Callable[..., np.ndarray], rate: float, drift: float) -> None:
    """Upstrokes wholly inside are found, each once, at their peaks; a drift adds next to nothing."""
    beat_s, size = 60.0 / rate, 0.1
    depth = size * pulse(5000, 250, beat_s) + drift * np.arange(5000) * 0.001
    found = sorted(rises(depth, 0.001), key=lambda beat: beat[1])
    upstroke = min(0.2, 0.25 * beat_s)
    peaks = [k * beat_s + upstroke - 0.25 for k in range(-1, 20)]
    whole = [p for p in peaks if 0.32 < p < 4.97]
    assert len(found) in (len(whole), len(whole) + 1)  # one more where an upstroke is cut by an end
    times = np.array([tick * 0.001 for _, tick in found])
    for peak in whole:
        assert np.sum(np.abs(times - peak) < 0.1 * beat_s) == 1
    assert np.median([s for s, _ in found]) == pytest.approx(size, rel=0.1)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=60), st.data())
def test_the_lowest_of_a_running_window(values: list[float], data: st.DataObject) -> None:
    """Exactly the minimum of every window, whatever its width."""
    width = data.draw(st.integers(1, len(values)))
    expected = [min(values[i : i + width]) for i in range(len(values) - width + 1)]
    assert np.array_equal(lowest_of(np.array(values), width), expected)


@pytest.mark.parametrize("depth", [np.full(3000, 0.7), np.linspace(1.0, 0.0, 3000), np.zeros(20), np.zeros(0)])
def test_what_does_not_rise_has_no_beats(depth: np.ndarray) -> None:
    assert rises(depth, 0.001) == []


@given(st.floats(1e-3, 1.5))
def test_a_brighter_lamp_changes_no_rise(finger: Any, scale: float) -> None:
    """Beer and Lambert: a factor on the light is an offset of its optical depth."""
    seen = finger.answer(Hold(90.0, 2.0), 1)
    plain = measure(seen, 0.4, 0.001)
    bright = measure(seen._replace(light=seen.light * scale), 0.4, 0.001)
    assert bright.rise == pytest.approx(plain.rise, rel=1e-9)
    assert bright.foot - plain.foot == pytest.approx(-math.log(scale), abs=1e-9)
    assert bright.residual_rms == pytest.approx(plain.residual_rms, rel=1e-9)


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_depths_add_where_lights_multiply(first: float, second: float) -> None:
    one, two, both = (optical_depth(np.full(100, x), 0.001) for x in (first, second, first * second))
    assert both == pytest.approx(one + two, abs=1e-9)


def test_noise_of_the_light_is_told_from_its_pulse(finger: Any) -> None:
    """Noise as found is that of a smoothed sample: SD over light, over √30; the pulse adds nothing to it."""
    measured = measure(finger._replace(noise=1e-3).answer(Hold(90.0, 4.0), 1), 0.4, 0.001)
    assert measured.noise == pytest.approx(1e-3 / measured.mean_light / math.sqrt(30.0), rel=0.1)
    silent = measure(finger.answer(Hold(90.0, 4.0), 1), 0.4, 0.001)
    assert silent.noise < 0.01 * measured.noise < silent.residual_rms


def test_beats_of_one_size_have_no_spread(finger: Any) -> None:
    assert measure(finger.answer(Hold(90.0, 6.0), 1), 0.4, 0.001).spread < 0.02


@pytest.mark.parametrize("cuff", [60.0, 90.0, 120.0])
def test_a_rise_is_what_the_law_says(finger: Any, cuff: float) -> None:
    step = measure(finger.answer(Hold(cuff, 4.0), 1), 0.4, 0.001)
    top, foot = (math.atan((finger.diastolic_mmHg + p - cuff) / finger.width_mmHg) for p in (finger.pulse_mmHg, 0.0))
    assert step.rise == pytest.approx(finger.depth * (top - foot) / math.pi, rel=0.04)
    assert step.pressure_mmHg == pytest.approx(cuff)


# --- the climb --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("low", [40.0, 70.0, 110.0, 150.0])
def test_wide_steps_up_until_the_fall_then_narrow_ones(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, low: float
) -> None:
    stairs = Staircase()
    run = drive(climb(stairs, instrument), finger._replace(diastolic_mmHg=low))
    wide, narrow = run.holds[:-2], run.holds[-2:]
    assert np.all(np.diff(wide) > 0.0) and max(np.diff(wide)) <= stairs.spacing_mmHg
    steps = run.outcome
    assert [s.pressure_mmHg for s in steps] == pytest.approx(sorted(run.holds), abs=1.0)
    rise = {round(s.pressure_mmHg): s.rise for s in steps}
    best = max(wide, key=lambda p: rise[round(p)])
    fallen = [rise[round(p)] < FALLEN * max(rise[round(q)] for q in wide[: k + 1]) for k, p in enumerate(wide)]
    assert fallen[-1] and not any(fallen[:-1])
    assert sorted(narrow) == pytest.approx([best - 0.5 * stairs.spacing_mmHg, best + 0.5 * stairs.spacing_mmHg])
    middle = low + 0.5 * finger.pulse_mmHg
    assert abs(max(steps, key=lambda s: s.rise).pressure_mmHg - middle) <= 0.5 * stairs.spacing_mmHg


@pytest.mark.parametrize(("highest", "spacing", "low"), [(210.0, 80.0, 170.0), (170.0, 40.0, 150.0)])
def test_no_step_is_above_the_highest_pressure(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, highest: float, spacing: float, low: float
) -> None:
    own = instrument._replace(highest_mmHg=highest)
    narrow = finger._replace(**{**SHARP, "diastolic_mmHg": low, "pulse_mmHg": 12.0 if spacing < 50.0 else 30.0})
    run = drive(climb(Staircase(spacing_mmHg=spacing), own), narrow, own)
    assert isinstance(run.outcome, list) and max(run.holds) == highest
    assert len(set(run.holds)) == len(run.holds)


MEASURABLE = [
    {}, {"noise": 1e-3}, {"depth": 0.01, "noise": 2e-5}, {"first_fill": 1.3}, {"bright": 0.99}, {"bright": 0.005},
    {"diastolic_mmHg": 170.0}, {"beat_s": 1.5}, {"beat_s": 0.4},
]
SPOILT = [
    ({"pulse_mmHg": 0.0, "noise": 2e-5}, "no pulse"), ({"pulse_mmHg": 0.0, "noise": 1e-3}, "no pulse"),
    ({"depth": 1e-6, "noise": 1e-3}, "no pulse"), ({"first_fill": 1.7}, "cuff too loose"),
    ({"bright": 1.4}, "light saturated"), ({"bright": 1e-4}, "light saturated"),
    ({"diastolic_mmHg": 230.0, "pulse_mmHg": 50.0}, "pressure range exhausted"),
]


@pytest.mark.parametrize("changes", MEASURABLE, ids=str)
def test_what_can_be_measured_is_not_refused(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, changes: dict[str, float]
) -> None:
    assert isinstance(drive(climb(Staircase(), instrument), finger._replace(**changes)).outcome, list)


@pytest.mark.parametrize(("changes", "reason"), SPOILT, ids=str)
def test_failures_are_named(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, changes: dict[str, float], reason: str
) -> None:
    run = drive(climb(Staircase(), instrument), finger._replace(**changes))
    assert isinstance(run.outcome, Failed) and run.outcome.reason == reason
    if reason in ("no pulse", "pressure range exhausted"):
        assert run.holds[-1] == instrument.highest_mmHg  # not before everything has been tried
    else:
        assert len(run.holds) <= 4


def test_a_cuff_that_was_not_empty_tells_nothing_of_its_fit(finger: Any, instrument: Instrument) -> None:
    seen = finger._replace(first_fill=3.0).answer(Hold(40.0, 2.0), 0)
    assert too_loose(seen, 40.0, instrument) is not None
    assert too_loose(seen._replace(reading_mmHg=seen.reading_mmHg + 20.0), 40.0, instrument) is None
    assert saturated(seen, instrument) is None


def test_a_cuff_that_never_fills_is_loose(finger: Any, instrument: Instrument) -> None:
    seen = finger.answer(Hold(40.0, 2.0), 0)
    assert too_loose(seen._replace(reading_mmHg=np.zeros(2000)), 40.0, instrument) is not None


@pytest.mark.parametrize(("level", "share", "fails"), [
    (1.0, 0.5, True), (1.0, 0.005, False), (0.0, 0.5, True), (0.0, 0.005, False), (0.98, 1.0, False),
])
def test_a_few_samples_at_an_end_do_not_saturate(
    finger: Any, instrument: Instrument, level: float, share: float, fails: bool
) -> None:
    seen = finger.answer(Hold(90.0, 2.0), 1)
    light = np.where(np.arange(2000) < 2000 * share, level, seen.light)
    assert (saturated(seen._replace(light=light), instrument) is not None) == fails
