"""The staircase on a finger that answers by the arctangent law, without a kernel."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Failed, Hold, Instrument, Plan, Seen
from calibrate.staircase import Staircase, Step, climb, measure, optical_depth, rises, saturated, too_loose

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
ALPHA, WIDTH = 0.3, 15.0


def pulse(ticks: int, start: int = 0, beat_s: float = 0.8) -> np.ndarray:
    """A beat with a quick rise and a slow fall, 0 … 1."""
    phase = (np.arange(start, start + ticks) * 0.001 / beat_s) % 1.0
    up, down = np.sin(0.5 * np.pi * phase / 0.15) ** 2, np.cos(0.5 * np.pi * (phase - 0.15) / 0.85) ** 2
    return np.where(phase < 0.15, up, down)


def answer(request: Hold, start: int, low: float, size: float, loose: float = 1.0) -> Seen:
    """Light and reading of a hold on a finger of diastolic pressure `low` and pulse pressure `size`."""
    ticks = INSTRUMENT.ticks(request.seconds)
    time = np.arange(ticks) * 0.001
    reading = np.full(ticks, request.pressure_mmHg)
    if start == 0:
        reading = request.pressure_mmHg * (1.0 - np.exp(-time / (INSTRUMENT.rise_s * loose)))
    area = 0.5 + np.arctan((low + size * pulse(ticks, start) - reading) / WIDTH) / math.pi
    return Seen(0.6 * np.exp(-ALPHA * area), reading, np.zeros(ticks), np.zeros(ticks))


def follow(low: float, size: float, loose: float = 1.0, scale: float = 1.0) -> tuple[list[float], list[Step] | Failed]:
    """Pressures asked, and what the climb came to."""
    plan: Plan = climb(Staircase(), INSTRUMENT)  # type: ignore[assignment]
    asked, start = [], 0
    request = next(plan)
    while True:
        assert isinstance(request, Hold)
        asked.append(request.pressure_mmHg)
        seen = answer(request, start, low, size, loose)
        start += len(seen.light)
        try:
            request = plan.send(seen._replace(light=np.minimum(seen.light * scale, 1.0)))
        except StopIteration as end:
            return asked, end.value


def test_wide_steps_up_until_the_fall_then_narrow_ones() -> None:
    asked, steps = follow(70.0, 45.0)
    assert asked[:3] == [40.0, 80.0, 120.0] and asked[-2:] == [100.0, 60.0]
    assert isinstance(steps, list)
    pressures = [s.pressure_mmHg for s in steps]
    assert pressures == sorted(pressures)
    assert max(steps, key=lambda s: s.rise).pressure_mmHg == pytest.approx(92.5, abs=10.0)


@pytest.mark.parametrize(("low", "size", "loose", "scale", "reason"), [
    (70.0, 0.0, 1.0, 1.0, "no pulse"), (70.0, 45.0, 2.0, 1.0, "cuff too loose"),
    (70.0, 45.0, 1.0, 3.0, "light saturated"), (70.0, 45.0, 1.0, 1e-5, "light saturated"),
    (230.0, 50.0, 1.0, 1.0, "pressure range exhausted"),
])
def test_failures_are_named(low: float, size: float, loose: float, scale: float, reason: str) -> None:
    _, outcome = follow(low, size, loose, scale)
    assert isinstance(outcome, Failed) and outcome.reason == reason


@given(st.floats(1e-3, 1.5))
def test_a_brighter_lamp_changes_no_rise(scale: float) -> None:
    seen = answer(Hold(90.0, 2.0), 1, 70.0, 45.0)
    plain = measure(seen, 0.4, 0.001)
    bright = measure(seen._replace(light=seen.light * scale), 0.4, 0.001)
    assert bright.rise == pytest.approx(plain.rise, rel=1e-9)
    assert bright.foot - plain.foot == pytest.approx(-math.log(scale), abs=1e-9)


@pytest.mark.parametrize("beat_s", [0.4, 0.8, 1.5])
@pytest.mark.parametrize("drift", [-0.02, 0.0, 0.02])
def test_each_beat_rises_once(beat_s: float, drift: float) -> None:
    depth = 0.1 * pulse(6000, 0, beat_s) + drift * np.arange(6000) * 0.001
    found = rises(depth, 0.001)
    assert abs(len(found) - 6.0 / beat_s) <= 1.5
    assert np.median([size for size, _ in found]) == pytest.approx(0.1, rel=0.1)


def test_depth_is_minus_the_logarithm() -> None:
    assert optical_depth(np.full(100, 0.25), 0.001) == pytest.approx(math.log(4.0))


def test_a_cuff_that_was_not_empty_tells_nothing_of_its_fit() -> None:
    seen = answer(Hold(40.0, 2.0), 0, 70.0, 45.0, 3.0)
    assert too_loose(seen, 40.0, INSTRUMENT) is not None
    assert too_loose(seen._replace(reading_mmHg=seen.reading_mmHg + 20.0), 40.0, INSTRUMENT) is None
    assert saturated(seen, INSTRUMENT) is None
