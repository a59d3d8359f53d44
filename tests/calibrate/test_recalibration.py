"""A short staircase recovers how far the set point has moved."""
import math

import numpy as np
import pytest

from calibrate.protocol import Failed, Hold, Instrument, Seen
from calibrate.recalibration import ShortStaircase, WideLooks, fit_short
from calibrate.schedule import Beats
from calibrate.staircase import Step

BEATS = Beats(10.0, 0.8, 110.0, 65.0, 83.0)


def steps(moved: float) -> list[Step]:
    found = []
    for pressure in (65.0, 101.0):
        top, foot = (math.atan((x + moved - pressure) / 15.0) for x in (110.0, 65.0))
        rise = 0.3 * (top - foot) / math.pi
        found.append(Step(pressure, rise, 1.0, 1.0, 0.4, 1e-5, rise, 0.0, np.zeros(1)))
    return found


@pytest.mark.parametrize("moved", [-8.0, -3.0, 0.0, 3.0, 8.0])
def test_the_shift_has_the_right_sign_and_size(moved: float) -> None:
    found, depth, width = fit_short(steps(moved), BEATS, 0.3, 15.0)
    assert found == pytest.approx(moved, abs=1.0)
    assert depth == pytest.approx(0.3, rel=0.1) and width == pytest.approx(15.0, rel=0.1)


def test_without_a_pulse_it_fails_by_name() -> None:
    from calibrate.protocol import Found

    instrument = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
    plan = ShortStaircase().repeat(instrument, Found(0.5, 0.003, 83.0, 1.0), BEATS)
    request = next(plan)
    noise = np.random.default_rng(1)
    with pytest.raises(StopIteration) as end:
        while True:
            assert isinstance(request, Hold)
            ticks = instrument.ticks(request.seconds)
            none = np.zeros(ticks)
            light = 0.5 + 1e-3 * noise.standard_normal(ticks)
            request = plan.send(Seen(light, np.full(ticks, request.pressure_mmHg), none, none))
    outcome = end.value.value
    assert isinstance(outcome, Failed) and outcome.reason == "no pulse"


def test_wide_looks_stay_in_the_clamp() -> None:
    from calibrate.protocol import Clamp, Found

    instrument = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
    request = next(WideLooks().repeat(instrument, Found(0.5, 0.003, 83.0, 1.0), BEATS))
    assert isinstance(request, Clamp) and not request.shown and request.tone_mmHg > 0.0
