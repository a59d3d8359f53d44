"""The tools of the crossing search, one by one, on curves whose crossings are known in closed form.

They run interpreted here (`py_func`); that the compiled search does the same is tested with the survey.
"""
import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.margins import crossings
from controller.response import Unity, Zpk, response


def zpk(zeros, poles, gain, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), 0.0, delay_s)


def interpret(monkeypatch, *modules):
    """Replace every compiled tool of these modules by the Python it was compiled from."""
    for module in modules:
        for name, tool in list(vars(module).items()):
            if hasattr(tool, "py_func"):
                monkeypatch.setattr(module, name, tool.py_func)
    made = {f"refine_{kind}": crossings.finder(getattr(crossings, measure)).py_func
            for kind, measure in (("unit", "above_unit"), ("axis", "above_axis"), ("level", "above_level"))}
    made |= {f"beyond_{kind}": crossings.dip_finder(getattr(crossings, f"above_{kind}")).py_func
             for kind in ("unit", "axis")}
    for name, tool in made.items():
        for module in modules:
            monkeypatch.setattr(module, name, tool)


@pytest.fixture(autouse=True)
def interpreted(monkeypatch):
    """Every tool of the module as plain Python."""
    interpret(monkeypatch, crossings)


def at(part, omega):
    return complex(response(part, omega))


@pytest.mark.parametrize(("low", "high"), [(0.5, 5.0), (1.9, 2.05), (2.0 - 1e-9, 3.0), (1e-3, 1e3)])
def test_unit_circle_is_met_to_twelve_digits(low, high):
    """2/s has |L| = 1 at 2 rad/s, wherever the bracket's ends are."""
    part = zpk([], [0], 2)
    ends = [crossings.above_unit(at(part, w), 0.0) for w in (low, high, high * 1.1)]
    w, value = crossings.refine_unit(0.0, part, Unity(1.0), (low, ends[0]), (high, ends[1]),
                                     (high * 1.1, ends[2]))
    assert w == pytest.approx(2.0, rel=1e-12)
    assert value == pytest.approx(-1j, abs=1e-11)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.02, 1.0), st.floats(0.05, 0.98))
def test_real_axis_of_a_dead_time(delay, share):
    """e^{−θs}/s turns from -90° and crosses -180° at ωθ = π/2."""
    part, exact = zpk([], [0], 1, delay), math.pi / 2 / delay
    low, high = exact * (1 - 0.9 * share), exact * (1 + 0.9 * (1 - share))
    f = [crossings.above_axis(at(part, w), 0.0) for w in (low, high, 0.5 * (low + high))]
    w, value = crossings.refine_axis(0.0, part, Unity(1.0), (low, f[0]), (high, f[1]), (0.5 * (low + high), f[2]))
    assert w == pytest.approx(exact, rel=1e-12)
    assert value == pytest.approx(-1 / exact, rel=1e-11)


def test_level_of_the_closed_loop():
    """5/s closes to a lag of half power at 5 rad/s."""
    part = zpk([], [0], 5)
    f = [crossings.above_level(at(part, w), 0.5) for w in (3.0, 8.0, 10.0)]
    assert f[0] > 0 > f[1]
    w, _ = crossings.refine_level(0.5, part, Unity(1.0), (3.0, f[0]), (8.0, f[1]), (10.0, f[2]))
    assert w == pytest.approx(5.0, rel=1e-12)


def test_no_three_samples_of_one_value_stop_the_search():
    """Equal measures leave the interpolation without an answer; bisection goes on."""
    part = zpk([], [0], 2)
    ends = [(np.float64(w), np.float64(f)) for w, f in ((1.0, 0.6), (3.0, -0.5), (3.0, -0.5))]
    with np.errstate(all="ignore"):
        w, _ = crossings.refine_unit(0.0, part, Unity(1.0), *ends)
    assert w == pytest.approx(2.0, rel=1e-12)


@settings(deadline=None, max_examples=40)
@given(st.floats(0.3, 3.0), st.floats(0.6, 1.4))
def test_nearest_point_to_minus_one(gain, middle):
    """1 + k/(s + 1)³ is nearest to zero where a dense search says, as well as that can tell."""
    part = zpk([], [-1, -1, -1], gain)
    dense = np.linspace(0.3, 6.0, 200_001)
    distance = np.abs(1 + gain / (1j * dense + 1) ** 3)
    exact = dense[np.argmin(distance)]
    a, b, c = exact * 0.8, exact * (1 + 0.05 * (middle - 1)), exact * 1.25
    w, least = crossings.closest(part, Unity(1.0), a, at(part, a), b, at(part, b), c, at(part, c))
    assert np.min(distance) * (1 - 1e-8) < least < np.min(distance) * (1 + 1e-12)
    assert abs(1 + at(part, w)) == pytest.approx(least, rel=1e-12)
    assert w == pytest.approx(exact, abs=5e-5)


def test_dip_between_samples():
    """A narrow resonance beside |L| = 1: the parabola warns, the search finds the other side, and not where there is
    none."""
    def samples(peak):
        part = zpk([], [complex(-0.01, 1), complex(-0.01, -1)], 0.02 * peak)
        return part, [(w, crossings.above_unit(at(part, w), 0.0)) for w in (0.992, 0.999, 1.006)]

    part, (a, b, c) = samples(1.002)
    assert max(a[1], b[1], c[1]) < 0 and crossings.dips(a[1], b[1], c[1])
    w, f, there = crossings.beyond_unit(part, Unity(1.0), *a, *b, *c)
    assert there and f > 0 and 0.992 < w < 1.006
    part, (a, b, c) = samples(0.97)
    assert crossings.dips(a[1], b[1], c[1])
    assert not crossings.beyond_unit(part, Unity(1.0), *a, *b, *c)[2]
    assert not crossings.dips(-0.1, -0.5, -0.1) and not crossings.dips(-0.9, -0.5, -0.9)


@pytest.mark.parametrize("probing", [False, True])
def test_samples_follow_the_phase(probing):
    """No two neighbours turn more than asked or more than double, and a dead time's full turns do not hide."""
    part = zpk([], [-1, complex(-0.05, 3), complex(-0.05, -3)], 5, delay_s=0.5 if not probing else 4.0)
    omega = np.geomspace(0.1, 30.0, 20)
    work = crossings.scratch(5000)
    response_there = np.array([at(part, w) for w in omega])
    count, resolved = crossings.trace(part, Unity(1.0), omega, response_there, 0.3, omega[0], probing, work)
    assert resolved
    w, loop = work.omega[:count], work.loop[:count]
    assert np.all(np.diff(w) > 0) and set(omega) <= set(w)
    assert np.max(np.abs(np.angle(loop[1:] / loop[:-1]))) <= 0.3 + 1e-12
    assert np.max(np.abs(np.log(np.abs(loop[1:] / loop[:-1])))) <= math.log(2) + 1e-12
    if probing:
        assert np.max(np.diff(w)) * 4.0 < 0.7, "a dead time of 4 s turns 4 rad per rad/s"


def test_too_little_room_is_said():
    part = zpk([], [-1], 1, delay_s=100.0)
    omega = np.geomspace(0.1, 30.0, 20)
    response_there = np.array([at(part, w) for w in omega])
    work = crossings.scratch(60)
    count, resolved = crossings.trace(part, Unity(1.0), omega, response_there, 0.3, omega[0], True, work)
    assert not resolved and count <= 60


def test_an_extra_sample_below_the_grid():
    part = zpk([], [0], 1e-3)
    omega = np.geomspace(0.1, 10.0, 20)
    work = crossings.scratch(500)
    response_there = np.array([at(part, w) for w in omega])
    count, _ = crossings.trace(part, Unity(1.0), omega, response_there, 0.3, 1e-4, False, work)
    assert work.omega[0] == 1e-4 and work.loop[0] == pytest.approx(-10j)
    assert np.all(np.diff(work.omega[:count]) > 0)


@given(st.floats(0.01, 100), st.floats(0.01, 10))
def test_turning_rate_is_the_group_delay(omega, delay):
    """A dead time turns θ rad per rad/s at every frequency, however many turns it has made."""
    part = zpk([], [], 2.0, delay)
    assert crossings.turning_rate(part, Unity(1.0), omega, at(part, omega)) == pytest.approx(delay, rel=1e-3)


@given(st.floats(-5, 5), st.floats(-math.pi, math.pi))
def test_measures_change_sign_where_they_should(decades, phase):
    """Above the unit circle, above the axis; never beyond 1 in magnitude."""
    value = cmath.rect(10.0**decades, phase)
    assert (crossings.above_unit(value, 0.0) > 0) == (crossings.square(value) > 1)
    assert (crossings.above_axis(value, 0.0) > 0) == (value.imag > 0)
    closed = abs(value / (1 + value)) if value != -1 else math.inf
    if abs(closed - 0.7) > 1e-6:
        assert (crossings.above_level(value, 0.49) > 0) == (closed > 0.7)
    for measure in (crossings.above_unit, crossings.above_axis, crossings.above_level):
        assert abs(measure(value, 0.49)) <= 1


def test_a_dip_has_its_least_value_in_the_middle():
    """A parabola that comes near zero beside the three samples is no dip between them, from either side of zero."""
    for sign in (1.0, -1.0):
        assert crossings.dips(sign * 0.3, sign * 0.05, sign * 0.3)
        assert not crossings.dips(sign * 0.5, sign * 0.15, sign * 0.1)
        assert not crossings.dips(sign * 0.1, sign * 0.15, sign * 0.5)
        assert not crossings.dips(sign * 0.15, sign * 0.15, sign * 0.5)


def test_the_search_for_a_crossing_is_superlinear(monkeypatch):
    """Inverse quadratic interpolation has order 1.84: ten looks do what takes bisection forty."""
    looks = 0

    def counted(part, controller, omega):
        nonlocal looks
        looks += 1
        return at(part, omega)

    monkeypatch.setattr(crossings, "loop_at", counted)
    for part, exact in ((zpk([], [0], 2), 2.0), (zpk([], [-1, -1, -1], 8), math.sqrt(3.0))):
        for low, high, beside in ((0.8, 1.3, 1.7), (0.7, 1.1, 0.5), (0.9, 1.4, 0.75)):
            looks = 0
            ends = [crossings.above_unit(at(part, share * exact), 0.0) for share in (low, high, beside)]
            near, far, third = zip((low * exact, high * exact, beside * exact), ends, strict=True)
            w, _ = crossings.refine_unit(0.0, part, Unity(1.0), near, far, third)
            assert w == pytest.approx(exact, rel=1e-12) and looks <= 9
