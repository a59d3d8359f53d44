"""Reading slopes off a tone, and the vertex of the reciprocal slope."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Instrument, Seen
from calibrate.search.probing import (
    MOST_BLUR,
    Probe,
    fit_vertex,
    local_slopes,
    look,
    probing_clamp,
    slope_blur,
    window_ticks,
)

TIME = np.arange(2500) * 0.001
SKIP_s = 0.15
TOP, WIDTH = 0.005, 15.0  # of the law of slopes below


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
    depth, slopes = local_slopes(seen_with_tone(own, slope, rate_Hz=rate_Hz), own, SKIP_s)
    assert np.median(slopes) == pytest.approx(slope / 0.5, rel=0.03)
    assert depth == pytest.approx(math.log(2.0), abs=0.02)


def test_a_larger_tone_reads_the_same_slope(instrument: Instrument) -> None:
    small, large = (
        np.median(local_slopes(seen_with_tone(instrument, 0.003, a), instrument, SKIP_s)[1]) for a in (1.0, 6.0))
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
    depth, slopes = local_slopes(still.answer(request, 0), instrument, SKIP_s)
    off = np.tan(np.pi * ((depth + math.log(finger.bright)) / finger.depth - 0.5))
    assert np.ptp(off) > 0.5
    assert slopes == pytest.approx(finger.relative_slope / (1.0 + off**2), rel=0.02)


# --- the vertex -------------------------------------------------------------------------------------------------


def law(y: np.ndarray, vertex: float) -> np.ndarray:
    """Slopes by the arctangent law at optical depths near its vertex."""
    return TOP / (1.0 + ((y - vertex) / (TOP * WIDTH)) ** 2)


@pytest.mark.parametrize("offset_mmHg", [-6.0, -2.0, 0.0, 2.0, 6.0])
def test_the_vertex_is_found_on_either_side(offset_mmHg: float) -> None:
    y = 0.6 + TOP * np.linspace(-6.0, 6.0, 40)
    vertex = fit_vertex(y, law(y, 0.6 + TOP * offset_mmHg), 17.0)
    assert (vertex.depth - 0.6) / TOP == pytest.approx(offset_mmHg, abs=0.5)
    assert vertex.relative_slope == pytest.approx(TOP, rel=0.03)
    assert vertex.middle == pytest.approx(0.6) and vertex.span == pytest.approx(6.0 * TOP)


@pytest.mark.parametrize("width", [8.0, 15.0, 30.0])
@pytest.mark.parametrize("belief", [0.8, 1.0, 1.3])
def test_the_width_is_that_of_the_arctangent_law(width: float, belief: float) -> None:
    """Of the law itself, 1/s = (1/s0) / cos²((y − y0)/(s0 w)), over a sweep of a third of its width."""
    y = 0.6 + TOP * np.linspace(-0.35, 0.35, 60) * width
    slopes = TOP * np.cos((y - 0.6) / (TOP * width)) ** 2
    random = np.random.default_rng(1).standard_normal(60)
    vertex = fit_vertex(y, slopes + 1e-3 * TOP * random, belief * width)
    assert vertex.width_mmHg == pytest.approx(width, rel=0.12)
    assert abs(vertex.depth - 0.6) < 0.02 * width * TOP


def test_where_a_look_tells_no_width_the_belief_stays() -> None:
    y = 0.6 + TOP * np.linspace(-1.0, 1.0, 40)
    noise = 0.02 * TOP * np.random.default_rng(2).standard_normal(40)
    for belief in (10.0, 20.0, 40.0):
        assert fit_vertex(y, law(y, 0.6) + noise, belief, 0.05).width_mmHg == pytest.approx(belief, rel=0.1)


@settings(max_examples=25)
@given(st.floats(0.2, 5.0), st.floats(-1.0, 1.0))
def test_the_vertex_moves_with_the_light(scale: float, shift: float) -> None:
    """Another share of blood scales depth and slope, another lamp shifts depth; pressures stay as they were."""
    y = 0.6 + TOP * np.linspace(-8.0, 8.0, 40)
    plain = fit_vertex(y, law(y, 0.6 + 2.0 * TOP), WIDTH)
    other = fit_vertex(scale * y + shift, scale * law(y, 0.6 + 2.0 * TOP), WIDTH)
    assert other.depth == pytest.approx(scale * plain.depth + shift, abs=1e-6)
    assert other.relative_slope == pytest.approx(scale * plain.relative_slope, rel=1e-6)
    assert other.width_mmHg == pytest.approx(plain.width_mmHg, rel=1e-6)
    assert other.sd_mmHg == pytest.approx(plain.sd_mmHg, rel=1e-5)


@pytest.mark.parametrize("noise", [0.01, 0.03])
def test_errors_are_of_the_size_told(noise: float) -> None:
    """Over 200 seeds the 90 % interval of independent noise holds the truth, and is not much too wide."""
    errors, sds = [], []
    y = 0.6 + TOP * 6.0 * np.sin(np.linspace(0.0, 2 * np.pi, 40))
    for seed in range(200):
        off = np.random.default_rng(seed).standard_normal(40) * noise * TOP
        vertex = fit_vertex(y, law(y, 0.6 + 2.0 * TOP) + off, WIDTH)
        errors.append((vertex.depth - 0.6 - 2.0 * TOP) / TOP)
        sds.append(vertex.sd_mmHg)
    assert np.mean(np.abs(errors) < 1.645 * np.array(sds)) > 0.85
    assert abs(np.mean(errors)) < np.mean(sds)
    assert np.mean(sds) < 3.0 * np.std(errors)


def test_noise_makes_it_less_sure() -> None:
    y = 0.6 + TOP * np.linspace(-6.0, 6.0, 60)
    random = np.random.default_rng(3).standard_normal(60)
    found = [fit_vertex(y, law(y, 0.6) + k * TOP * random, WIDTH) for k in (0.0, 0.01, 0.03)]
    assert np.all(np.diff([v.sd_mmHg for v in found]) > 0.0) and np.all(np.diff([v.scatter for v in found]) > 0.0)
    assert found[-1].scatter == pytest.approx(0.03, rel=0.4)


@pytest.mark.parametrize("slopes", [np.zeros(30), np.full(30, np.nan), np.full(30, np.inf), -np.ones(30), np.zeros(0),
                                    np.ones(4)])
def test_what_is_no_slope_says_nothing(slopes: np.ndarray) -> None:
    vertex = fit_vertex(np.linspace(0.5, 0.6, len(slopes)), slopes, WIDTH)
    assert vertex.scatter == math.inf and vertex.relative_slope > 0.0


def test_slopes_at_one_depth_have_no_vertex() -> None:
    assert fit_vertex(np.full(30, 0.6), np.ones(30), WIDTH).scatter == math.inf
    assert fit_vertex(np.array([0.0] * 5 + [1.0]), np.array([1.0] * 5 + [0.01]), WIDTH).scatter == math.inf


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(-1000, 3000), st.integers(-1000, 1000)), max_size=30))
def test_any_slopes_give_a_vertex_or_infinite_scatter(pairs: list[tuple[int, int]]) -> None:
    depth, slope = np.array([p[0] for p in pairs]) * 1e-3, np.array([p[1] for p in pairs]) * 1e-4
    vertex = fit_vertex(depth, slope, WIDTH)
    assert vertex.relative_slope > 0.0 and vertex.width_mmHg > 0.0 and vertex.sd_mmHg >= 0.0
    assert vertex.scatter == math.inf or all(math.isfinite(v) for v in vertex)


@pytest.mark.parametrize("light", [np.full(2500, 0.5), np.zeros(2500), np.ones(2500)])
@pytest.mark.parametrize("reading", [np.full(2500, 90.0), 90.0 + np.sin(2 * np.pi * 36.0 * TIME)])
@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning", "ignore:divide by zero:RuntimeWarning")
def test_a_dead_signal_says_nothing(instrument: Instrument, light: np.ndarray, reading: np.ndarray) -> None:
    seen = Seen(light, reading, np.zeros(2500), np.zeros(2500))
    assert fit_vertex(*local_slopes(seen, instrument, SKIP_s), WIDTH).scatter == math.inf


def test_a_look_shorter_than_its_window_says_nothing(instrument: Instrument) -> None:
    """A sweep of half a second at 8 Hz, both within their bounds."""
    own, short = instrument._replace(probe_Hz=8.0), np.zeros(500)
    depth, slope = local_slopes(Seen(short + 0.5, short + 90.0, short, short), own, SKIP_s)
    assert len(depth) == len(slope) == 0


# --- a look -----------------------------------------------------------------------------------------------------


def test_the_request_sweeps_once_and_returns(instrument: Instrument) -> None:
    request = probing_clamp(Probe(), instrument, 0.5, 0.003, 5.0, True)
    sweep = np.asarray(request.sweep_mmHg)
    assert isinstance(request, Clamp) and request.shown and request.tone_mmHg == Probe().tone_mmHg
    assert len(sweep) == instrument.ticks(request.seconds)
    assert np.max(sweep) == pytest.approx(5.0, rel=1e-3) and abs(np.mean(sweep)) < 1e-9


def test_a_wider_tone_reads_the_slope_lower(finger: Any, instrument: Instrument) -> None:
    """And `slope_blur` tells by how much, to a third, up to where it gives up."""
    blurs, shares = [], []
    for tone in (1.0, 4.0, 8.0):
        request = Clamp(finger.set_point, finger.relative_slope * finger.set_point, 2.5, 0.0, tone)
        seen = finger._replace(pulse_mmHg=0.0, diastolic_mmHg=90.0).answer(request, 0)
        _, slopes = local_slopes(seen, instrument, SKIP_s)
        vertex = fit_vertex(np.linspace(0.5, 0.6, 40), np.full(40, finger.relative_slope), finger.width_mmHg)
        vertex = vertex._replace(width_mmHg=finger.width_mmHg)
        blurs.append(slope_blur(seen, instrument, vertex, SKIP_s))
        shares.append(1.0 - float(np.median(slopes)) / finger.relative_slope)
    assert 0.0 <= blurs[0] < blurs[1] < blurs[2] <= MOST_BLUR
    assert shares[0] < shares[1] < shares[2]
    assert blurs[1] == pytest.approx(shares[1], rel=0.4)


@pytest.mark.parametrize("off_mmHg", [-5.0, 0.0, 5.0])
def test_a_look_asks_once_and_tells_where_the_vertex_lies(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, off_mmHg: float
) -> None:
    """Too dark a set point (artery too full) has its vertex at less depth, too bright a one at more."""
    light = finger.set_point * math.exp(-off_mmHg * finger.relative_slope)
    plan = look(Probe(sweep_s=2.5), instrument, light, finger.relative_slope * light, 16.0, 6.0)
    run = drive(plan, finger._replace(noise=2e-5))
    vertex, seen = run.outcome
    assert len(run.asked) == 1 and len(seen.light) == 2500
    assert (vertex.depth + math.log(finger.set_point)) / finger.relative_slope == pytest.approx(0.0, abs=1.5)
    assert (vertex.depth - vertex.middle) / finger.relative_slope == pytest.approx(-off_mmHg, abs=1.5)
    assert vertex.relative_slope == pytest.approx(finger.relative_slope, rel=0.1)
