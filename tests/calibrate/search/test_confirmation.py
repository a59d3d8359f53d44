"""The confirmation of a set point: its three signs on a finger by the law, and its verdict on the wrist rig."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from calibrate.protocol import Clamp, Found, Instrument, Seen
from calibrate.search.confirmation import Confirmation, mean_offset, second_harmonic
from calibrate.search.vertex import Shape, Vertex


def held(finger: Any, off_mmHg: float, believed: float = 1.0) -> Found:
    """A set point at which transmural pressure is so far too high; the slope as a share of the true one."""
    depth = finger.depth * (0.5 + math.atan(off_mmHg / finger.width_mmHg) / math.pi)
    light = finger.bright * math.exp(-depth)
    return Found(light, believed * finger.relative_slope * light, 90.0, 1.0)


@pytest.mark.parametrize("off_mmHg", [-15.0, -10.0, 10.0, 15.0])
def test_a_set_point_that_is_off_is_found_out_with_its_sign(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, off_mmHg: float
) -> None:
    own = finger._replace(noise=2e-5)
    verdict = drive(Confirmation().confirm(instrument, held(own, off_mmHg)), own).outcome
    assert verdict.astray and "mmHg away" in verdict.why
    assert verdict.off_mmHg * off_mmHg > 0.0 and verdict.second * off_mmHg > 0.0
    assert verdict.slope_share < 0.9


@pytest.mark.parametrize("off_mmHg", [-2.0, 0.0, 1.5])
def test_a_good_set_point_passes(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, off_mmHg: float
) -> None:
    own = finger._replace(noise=2e-5)
    run = drive(Confirmation().confirm(instrument, held(own, off_mmHg)), own)
    verdict = run.outcome
    assert not verdict.astray and not verdict.why
    assert verdict.off_mmHg == pytest.approx(off_mmHg, abs=1.2)  # it expects a law that is steeper below
    assert verdict.slope_share == pytest.approx(0.95, abs=0.08)  # over all of the sweep
    assert run.seconds == pytest.approx(10.0) and all(c.shown for c in run.clamps)


def test_a_slope_that_is_not_what_was_believed_is_found_out(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    verdict = drive(Confirmation().confirm(instrument, held(finger, 0.0, 1.8)), finger).outcome
    assert verdict.astray and 0.3 < verdict.slope_share < 0.65


def test_a_clamp_that_does_not_answer_or_is_lost_is_astray(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    deaf = drive(Confirmation().confirm(instrument, held(finger, 0.0)), finger._replace(loop_error=0.1)).outcome
    assert deaf.astray and deaf.why == "no slope to be seen"
    dark = drive(Confirmation().confirm(instrument, held(finger, 0.0)), finger._replace(bright=1e-5)).outcome
    assert dark.astray and "clamp" in dark.why


@pytest.mark.parametrize("curvature", [-0.004, 0.0, 0.004])
def test_the_second_harmonic_is_the_curvature_of_the_light(instrument: Instrument, curvature: float) -> None:
    """Of light = s p (1 + c p / 2) under p = A sin: −c A / 4 in phase at 2f over f, whatever the pressure has there."""
    time = np.arange(2500) * instrument.period_s
    tone = 2.0 * np.sin(2 * np.pi * instrument.probe_Hz * time + 0.7)
    for overtone in (0.0, 0.3):
        pressure = tone + overtone * np.cos(4 * np.pi * instrument.probe_Hz * time)
        light = 0.5 + 0.003 * (pressure + 0.5 * curvature * tone**2)
        none = np.zeros(2500)
        found = second_harmonic(Seen(light, 90.0 + pressure, none, none), instrument)
        assert found == pytest.approx(curvature * 2.0 / 4.0, abs=2e-4)


def test_a_look_too_short_has_none(instrument: Instrument) -> None:
    none = np.zeros(100)
    assert math.isnan(second_harmonic(Seen(none + 0.5, none + 90.0, none, none), instrument))


def test_the_mean_offset_is_weighted_and_says_how_sure() -> None:
    def at(off_mmHg: float, sd: float) -> Vertex:
        return Vertex(0.6 - 0.005 * off_mmHg, 0.005, sd, 0.02, 0.6, 0.02, Shape(15.0))

    mean, sd = mean_offset([at(2.0, 0.1), at(2.0, 0.1), at(20.0, 50.0)])
    assert mean == pytest.approx(2.0, abs=0.1) and 0.2 < sd < 1.0
    assert mean_offset([at(k, 0.1) for k in (-4.0, 4.0)])[1] > 3.0


def test_it_asks_for_a_probe_of_its_size(instrument: Instrument, finger: Any) -> None:
    request = next(Confirmation().confirm(instrument, held(finger, 0.0)))
    assert isinstance(request, Clamp) and request.tone_mmHg == 3.0
    assert np.max(request.sweep_mmHg) == pytest.approx(6.0, rel=1e-3)
