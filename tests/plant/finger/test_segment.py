"""The artery's segment: what it is at rest, what comes in must stay or go on, its twin, and the steps it takes."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.finger.artery import Artery, relative_area, relative_compliance, unloaded_pressure
from plant.finger.segment import (
    Segment,
    SegmentLine,
    SegmentState,
    linear_twin,
    per_storage,
    segment_at_rest,
    segment_line,
    segment_rates,
)
from plant.numerics.integrate import advance, weigh

few = settings(max_examples=60, deadline=None)
segments = st.from_type(Segment)
arteries = st.from_type(Artery)
tones = st.floats(-1.5, 2.5)
driving = st.floats(-150, 200)


def steps(line: SegmentLine, state: SegmentState, drive: list[tuple[float, float, float]], step: float) -> SegmentState:
    """Runge–Kutta steps of `step` [s]; `drive` is e at the begin, middle and end of each."""
    for begin, middle, end in drive:
        one = segment_rates(line, state, begin)
        two = segment_rates(line, advance(state, 0.5 * step, one), middle)
        three = segment_rates(line, advance(state, 0.5 * step, two), middle)
        four = segment_rates(line, advance(state, step, three), end)
        state = advance(state, step, weigh(one, two, three, four))
    return state


@few
@given(segments, arteries, tones, driving)
def test_at_rest_nothing_moves_and_the_middle_is_at_the_driving_pressure(
    segment: Segment, artery: Artery, tone: float, pressure: float
) -> None:
    """Gain one at rest, for any parameters: u₂ = p_a − p_ext, no flow."""
    line = segment_line(segment, artery, tone)
    rest = segment_at_rest(pressure)
    assert rest == (pressure, 0.0, pressure)
    assert segment_rates(line, rest, pressure) == (0.0, 0.0, 0.0)
    twin = linear_twin(segment, artery, pressure, tone)
    for name, gain in (("arterial_pressure", 1.0), ("external_pressure", -1.0)):
        assert twin.response("transmural_pressure", name, np.array([0.0]))[0] == pytest.approx(gain, rel=1e-9)


@few
@given(segments, arteries, tones, st.floats(-60, 120), st.floats(-30, 30))
def test_twin_is_the_slope_of_the_rates(
    segment: Segment, artery: Artery, tone: float, pressure: float, offset: float
) -> None:
    """A and B by central differences at rest; C picks the middle."""
    artery = artery._replace(exponential_linear=False)
    line = segment_line(segment, artery, tone)
    at = unloaded_pressure(artery, tone) + offset + 0.0 * pressure
    twin, rest = linear_twin(segment, artery, at, tone), np.array([*segment_at_rest(at), at])

    def model(x: np.ndarray) -> np.ndarray:
        return np.array(segment_rates(line, SegmentState(*map(float, x[:3])), float(x[3])))

    ours = np.column_stack([twin.a, twin.b[:, 0]])
    numeric = np.empty((3, 4))
    for i, step in enumerate((1e-4, 1e-4, 1e-4, 1e-4)):
        move = step * np.eye(4)[i]
        numeric[:, i] = (model(rest + move) - model(rest - move)) / (2.0 * step)
    np.testing.assert_allclose(ours, numeric, rtol=1e-5, atol=1e-7 * np.max(np.abs(ours)))
    np.testing.assert_array_equal(twin.b[:, 0], -twin.b[:, 1])
    np.testing.assert_array_equal(np.hstack([twin.c, twin.d]), [[0.0, 0.0, 1.0, 0.0, 0.0]])


@few
@given(segments, arteries, tones, driving)
def test_storage_is_the_wall_s_and_never_below_its_floor(
    segment: Segment, artery: Artery, tone: float, pressure: float
) -> None:
    """C is φ c at the peak, between floor and peak elsewhere."""
    line = segment_line(segment, artery, tone)
    centre = line.law.unloaded_mmHg
    peak = line.law.fast * relative_compliance(line.law, centre)
    assert 1.0 / per_storage(line, centre) >= 0.999 * max(peak, line.floor)
    stored = 1.0 / per_storage(line, pressure)
    assert line.floor * 0.999 <= stored <= 1.001 * (max(peak, line.floor) + line.floor)
    if peak > line.floor:
        assert 1.0 / per_storage(line, centre) == pytest.approx(peak, rel=0.02 + line.floor / peak)


@settings(max_examples=15, deadline=None)
@given(st.floats(6, 25), st.floats(-0.5, 1.5), st.floats(20, 100), st.floats(-40, 40))
def test_what_comes_in_is_what_the_walls_take_up(length: float, tone: float, start: float, rise: float) -> None:
    """∫f_e dt = Δ[(1−m) φa(u₁) + m φa(u₂)] without the floor: no blood is made or lost on its way."""
    artery = Artery()
    segment = Segment(length_mm=length, floor_ms=0.3)
    line = segment_line(segment, artery, tone)
    line = line._replace(floor=0.0, lift=line.law.fast)
    state, step, entered = segment_at_rest(start), 2e-5, 0.0
    end = start + rise
    for _ in range(1500):
        before = (end - state.edge_mmHg) * line.per_source
        middle = steps(line, state, [(end,) * 3], 0.5 * step)
        state = steps(line, middle, [(end,) * 3], 0.5 * step)
        after = (end - state.edge_mmHg) * line.per_source
        entered += step * (before + 4.0 * (end - middle.edge_mmHg) * line.per_source + after) / 6.0

    def held(at: SegmentState) -> float:
        areas = [line.law.fast * relative_area(line.law, u) for u in (at.edge_mmHg, at.middle_mmHg)]
        return areas[0] / line.per_end + areas[1] / line.per_middle

    assert entered == pytest.approx(held(state) - held(segment_at_rest(start)), rel=1e-4, abs=1e-6)


@few
@given(st.floats(8, 20), st.floats(1.05, 2), st.floats(-1.5, 0.5))
def test_a_longer_cuff_lags_more(length: float, factor: float, tone: float) -> None:
    """The lag of the middle at 17 Hz grows with the compressed length; the light's window no wider than before.

    Where the floor does not reach the peak: not in short cuffs on stiff arteries."""
    omega = 2.0 * np.pi * np.array([17.0])
    lags = []
    for longer in (length, factor * length):
        twin = linear_twin(Segment(length_mm=longer), Artery(), unloaded_pressure(Artery(), tone), tone)
        lags.append(-np.angle(twin.response("transmural_pressure", "arterial_pressure", omega)[0]))
    assert 0.0 < lags[0] < lags[1]


@settings(max_examples=12, deadline=None)
@given(st.floats(8, 20), st.floats(8, 30), st.floats(0.05, 0.9), st.floats(0.0, 2.0))
def test_four_steps_a_millisecond_suffice(length: float, width: float, fast: float, tone: float) -> None:
    """From an empty cuff through the clamp with a 20 Hz movement: 0.25 ms steps against 0.025 ms, 5e-3 mmHg."""
    line = segment_line(Segment(length_mm=length), Artery(half_width_mmHg=width, fast_fraction=fast), tone)

    def drive(time: float) -> float:
        return 95.0 - 130.0 * min(time / 0.1, 1.0) + 40.0 * np.sin(2.0 * np.pi * 20.0 * time)

    ends = []
    for step in (2.5e-4, 2.5e-5):
        times = np.arange(round(0.2 / step)) * step
        told = [(drive(t), drive(t + 0.5 * step), drive(t + step)) for t in times]
        ends.append(steps(line, segment_at_rest(95.0), told, step))
    assert ends[0].middle_mmHg == pytest.approx(ends[1].middle_mmHg, abs=5e-3)


@few
@given(segments, arteries, st.floats(0.5, 2))
def test_the_largest_area_is_a_pure_scale(segment: Segment, artery: Artery, factor: float) -> None:
    """How many arteries lie side by side, or how large they are at no tone, moves no pressure."""
    larger = artery._replace(maximal_area=factor * artery.maximal_area)
    assert segment_line(segment, larger, 0.3)[1:] == segment_line(segment, artery, 0.3)[1:]
