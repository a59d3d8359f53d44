"""Reading slopes off a tone, and the vertex of the reciprocal slope."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Instrument, Seen
from calibrate.search.probing import (
    WANTED_SCATTER,
    LOUDEST_mmHg,
    MOST_BLUR_mmHg,
    Probe,
    blur_mmHg,
    local_slopes,
    look,
    loud_enough,
    probing_clamp,
    sharpened,
    window_ticks,
)
from calibrate.search.vertex import Shape, Vertex, fit_vertex

TIME = np.arange(2500) * 0.001
SKIP_s = 0.15


def seen_with_tone(
    instrument: Instrument, slope: float, amplitude: float = 3.0, level: float = 0.5, rate_Hz: float = 1.3
) -> Seen:
    """Reading and light with a tone, a pulse in both, and the instrument's own ratio between them."""
    turn = np.exp(2j * np.pi * instrument.probe_Hz * TIME)
    tone, lit = amplitude * turn.imag, amplitude * (instrument.probe_ratio * turn).imag
    slow = sum(15.0 / k * np.sin(2 * np.pi * k * rate_Hz * TIME + k) for k in (1, 2, 3, 4))
    return Seen(level + slope * lit + 1e-4 * slow, 90.0 + slow + tone, np.zeros(2500), np.zeros(2500))


@pytest.mark.parametrize("slope", [0.0003, 0.003, 0.01])
@pytest.mark.parametrize("ratio", [1.0 + 0.0j, 0.9 + 0.1j, 1.2 - 0.3j])
@pytest.mark.parametrize("rate_Hz", [0.7, 1.3, 2.5])
def test_the_slope_is_that_of_light_over_pressure(
    instrument: Instrument, slope: float, ratio: complex, rate_Hz: float
) -> None:
    """Through the loop's own ratio at the tone, and past a pulse that is larger than the tone."""
    own = instrument._replace(probe_ratio=ratio)
    time, depth, slopes = local_slopes(seen_with_tone(own, slope, rate_Hz=rate_Hz), own, SKIP_s)
    assert time[0] > -1.25 + SKIP_s and time[-1] < 1.25 and np.all(np.diff(time) > 0.0)
    assert np.median(slopes) == pytest.approx(slope / 0.5, rel=0.03)
    assert depth == pytest.approx(math.log(2.0), abs=0.02)


def test_a_larger_tone_reads_the_same_slope(instrument: Instrument) -> None:
    small, large = (
        np.median(local_slopes(seen_with_tone(instrument, 0.003, a), instrument, SKIP_s).slope) for a in (1.0, 6.0))
    assert small == pytest.approx(large, rel=0.02)


@pytest.mark.parametrize("probe_Hz", [8.0, 20.0, 36.0, 80.0])
def test_the_window_holds_whole_cycles(instrument: Instrument, probe_Hz: float) -> None:
    cycles = window_ticks(instrument._replace(probe_Hz=probe_Hz)) * 0.001 * probe_Hz
    assert cycles == pytest.approx(round(cycles), abs=0.05) and cycles > 3.0


def test_slopes_along_a_sweep_are_those_of_the_law(finger: Any, instrument: Instrument) -> None:
    """The fake clamp sweeps a finger by the arctangent law: each slope is its derivative at that depth."""
    request = probing_clamp(Probe(tone_mmHg=1.0, sweep_s=2.5), instrument, finger.set_point,
                            finger.relative_slope * finger.set_point, 8.0, True)
    still = finger._replace(diastolic_mmHg=90.0, pulse_mmHg=0.0)
    _, depth, slopes = local_slopes(still.answer(request, 0), instrument, SKIP_s)
    off = np.tan(np.pi * ((depth + math.log(finger.bright)) / finger.depth - 0.5))
    assert np.ptp(off) > 0.5
    assert slopes == pytest.approx(finger.relative_slope / (1.0 + off**2), rel=0.02)


@pytest.mark.parametrize("light", [np.full(2500, 0.5), np.zeros(2500), np.ones(2500)])
@pytest.mark.parametrize("reading", [np.full(2500, 90.0), 90.0 + np.sin(2 * np.pi * 36.0 * TIME)])
@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning", "ignore:divide by zero:RuntimeWarning")
def test_a_dead_signal_says_nothing(instrument: Instrument, light: np.ndarray, reading: np.ndarray) -> None:
    seen = Seen(light, reading, np.zeros(2500), np.zeros(2500))
    assert fit_vertex(local_slopes(seen, instrument, SKIP_s), Shape(15.0)).scatter == math.inf


def test_a_look_shorter_than_its_window_says_nothing(instrument: Instrument) -> None:
    """A sweep of half a second at 8 Hz, both within their bounds."""
    own, short = instrument._replace(probe_Hz=8.0), np.zeros(500)
    _, depth, slope = local_slopes(Seen(short + 0.5, short + 90.0, short, short), own, SKIP_s)
    assert len(depth) == len(slope) == 0


# --- a look -----------------------------------------------------------------------------------------------------


def test_the_request_sweeps_once_and_returns(instrument: Instrument) -> None:
    request = probing_clamp(Probe(), instrument, 0.5, 0.003, 5.0, True)
    sweep = np.asarray(request.sweep_mmHg)
    assert isinstance(request, Clamp) and request.shown and request.tone_mmHg == Probe().tone_mmHg
    assert len(sweep) == instrument.ticks(request.seconds)
    assert np.max(sweep) == pytest.approx(5.0, rel=1e-3) and abs(np.mean(sweep)) < 1e-9


def test_a_wider_tone_reads_the_slope_lower(finger: Any, instrument: Instrument) -> None:
    """By b²/w², where a tone alone makes half its amplitude of b: `sharpened` gives it back, to a third."""
    shares = []
    for tone in (1.0, 4.0, 8.0):
        request = Clamp(finger.set_point, finger.relative_slope * finger.set_point, 2.5, 0.0, tone)
        seen = finger._replace(pulse_mmHg=0.0, diastolic_mmHg=90.0).answer(request, 0)
        slope = float(np.median(local_slopes(seen, instrument, SKIP_s).slope))
        shares.append(1.0 - slope / finger.relative_slope)
        spread = blur_mmHg(seen, instrument, SKIP_s)
        assert spread == pytest.approx(0.5 * tone, rel=0.1)
        vertex = Vertex(0.55, slope, 0.5, 0.02, 0.55, 0.05, Shape(finger.width_mmHg))
        given_back = sharpened(vertex, spread).relative_slope / slope - 1.0
        assert given_back == pytest.approx(shares[-1], rel=0.4, abs=2e-3)
    assert shares[0] < shares[1] < shares[2]


def test_a_sweep_within_the_window_and_what_the_clamp_leaves_add_to_the_blur(
    finger: Any, instrument: Instrument
) -> None:
    slope = finger.relative_slope * finger.set_point
    still = finger._replace(pulse_mmHg=0.0, diastolic_mmHg=90.0)
    alone, swept, worse = (
        blur_mmHg(own.answer(probing_clamp(Probe(), instrument, finger.set_point, slope, sweep, True), 0),
                  instrument, SKIP_s)
        for own, sweep in ((still, 0.1), (still, 8.0), (still._replace(loop_error=0.02), 8.0)))
    assert alone == pytest.approx(1.5, rel=0.1) and 1.1 * alone < swept < worse <= MOST_BLUR_mmHg


@pytest.mark.parametrize("off_mmHg", [-5.0, 0.0, 5.0])
def test_a_look_asks_once_and_tells_where_the_vertex_lies(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, off_mmHg: float
) -> None:
    """Too dark a set point (artery too full) has its vertex at less depth, too bright a one at more."""
    light = finger.set_point * math.exp(-off_mmHg * finger.relative_slope)
    plan = look(Probe(sweep_s=2.5), instrument, light, finger.relative_slope * light, Shape(16.0), 6.0)
    run = drive(plan, finger._replace(noise=2e-5))
    vertex, seen = run.outcome
    assert len(run.asked) == 1 and len(seen.light) == 2500
    assert (vertex.depth + math.log(finger.set_point)) / finger.relative_slope == pytest.approx(0.0, abs=1.5)
    assert (vertex.depth - vertex.middle) / finger.relative_slope == pytest.approx(-off_mmHg, abs=1.5)
    assert vertex.relative_slope == pytest.approx(finger.relative_slope, rel=0.1)


@given(st.floats(0.5, 8.0), st.floats(0.0, 2.0), st.floats(0.5, 5.0))
def test_a_tone_is_as_loud_as_what_is_in_its_way_asks_for(tone: float, scatter: float, own: float) -> None:
    """Scatter is in inverse proportion to the tone: the next one brings it to what is wanted, within its bounds."""
    loud = loud_enough(Probe(tone_mmHg=own), tone, scatter)
    assert own <= loud <= max(LOUDEST_mmHg, own)
    if own < loud < LOUDEST_mmHg:
        assert scatter * tone / loud == pytest.approx(WANTED_SCATTER)
    assert loud_enough(Probe(tone_mmHg=own), tone, math.inf) == max(LOUDEST_mmHg, own)
