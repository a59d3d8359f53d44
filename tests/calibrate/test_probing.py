"""Reading slopes off a tone, and the vertex of the reciprocal slope."""
import math

import numpy as np
import pytest

from calibrate.probing import Probe, fit_vertex, local_slopes, look, probing_clamp, slope_blur, window_ticks
from calibrate.protocol import Clamp, Instrument, Seen

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 0.9 + 0.1j, 2e-5)
TIME = np.arange(2500) * 0.001


def seen_with_tone(slope: float, amplitude: float = 3.0, level: float = 0.5) -> Seen:
    """Reading and light with a tone, a pulse in both, and the instrument's own ratio between them."""
    tone = amplitude * np.sin(2 * np.pi * INSTRUMENT.probe_Hz * TIME)
    ratio = INSTRUMENT.probe_ratio
    lit = amplitude * abs(ratio) * np.sin(2 * np.pi * INSTRUMENT.probe_Hz * TIME + np.angle(ratio))
    slow = 15.0 * np.sin(2 * np.pi * 1.3 * TIME)
    return Seen(level + slope * lit + 1e-3 * slow / 15, 90.0 + slow + tone, np.zeros(2500), np.zeros(2500))


@pytest.mark.parametrize("slope", [0.0003, 0.003])
def test_the_slope_is_that_of_light_over_pressure(slope: float) -> None:
    depth, slopes = local_slopes(seen_with_tone(slope), INSTRUMENT, 0.15)
    assert np.median(slopes) == pytest.approx(slope / 0.5, rel=0.03)
    assert depth == pytest.approx(math.log(2.0), abs=0.01)


def law(y: np.ndarray, vertex: float, top: float, width: float) -> np.ndarray:
    return top / (1.0 + ((y - vertex) / (top * width)) ** 2)


@pytest.mark.parametrize("offset_mmHg", [-6.0, 0.0, 6.0])
def test_the_vertex_is_found_on_either_side(offset_mmHg: float) -> None:
    top, width = 0.005, 15.0
    y = 0.6 + top * np.linspace(-6.0, 6.0, 40)
    vertex = fit_vertex(y, law(y, 0.6 + top * offset_mmHg, top, width), 17.0)
    assert (vertex.depth - 0.6) / top == pytest.approx(offset_mmHg, abs=0.5)
    assert vertex.relative_slope == pytest.approx(top, rel=0.03)


def test_nine_of_ten_errors_lie_within_twice_their_interval() -> None:
    top, width, inside = 0.005, 15.0, []
    y = 0.6 + top * 6.0 * np.sin(np.linspace(0.0, 2 * np.pi, 40))
    for seed in range(200):
        noise = np.random.default_rng(seed).standard_normal(40) * 0.02 * top
        vertex = fit_vertex(y, law(y, 0.6 + 2.0 * top, top, width) + noise, 15.0)
        inside.append(abs(vertex.depth - 0.6 - 2.0 * top) / top < 1.645 * 2.0 * vertex.sd_mmHg)
    assert np.mean(inside) > 0.9


@pytest.mark.parametrize("slopes", [np.zeros(30), np.full(30, np.nan), -np.ones(30), np.zeros(0)])
def test_what_is_no_slope_says_nothing(slopes: np.ndarray) -> None:
    vertex = fit_vertex(np.linspace(0.5, 0.6, len(slopes)), slopes, 15.0)
    assert vertex.scatter == math.inf and vertex.relative_slope > 0.0


def test_the_request_sweeps_once_and_returns() -> None:
    request = probing_clamp(Probe(), INSTRUMENT, 0.5, 0.003, 5.0, True)
    sweep = np.asarray(request.sweep_mmHg)
    assert isinstance(request, Clamp) and request.shown and request.tone_mmHg == Probe().tone_mmHg
    assert np.max(sweep) == pytest.approx(5.0, rel=1e-3) and abs(np.mean(sweep)) < 1e-9


def test_a_wider_tone_reads_the_slope_lower() -> None:
    vertex = fit_vertex(*local_slopes(seen_with_tone(0.003), INSTRUMENT, 0.15), 15.0)
    vertex = vertex._replace(relative_slope=0.006, width_mmHg=15.0)
    small, large = (slope_blur(seen_with_tone(0.003, a), INSTRUMENT, vertex, 0.15) for a in (1.0, 4.0))
    assert 0.0 <= small < large <= 0.1


def test_a_look_asks_once_and_tells_a_vertex() -> None:
    plan = look(Probe(sweep_s=2.5), INSTRUMENT, 0.5, 0.003, 15.0, 5.0)
    assert isinstance(next(plan), Clamp)
    with pytest.raises(StopIteration) as end:
        plan.send(seen_with_tone(0.003))
    vertex, seen = end.value.value
    assert vertex.relative_slope == pytest.approx(0.006, rel=0.15) and len(seen.light) == 2500
    assert window_ticks(INSTRUMENT) == 167
