"""Laws of the margin search, on random loops: against closed-loop poles, against itself rescaled, one against many."""
import cmath
import math
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.margins.margins import OpenLoop, count_poles, gain_margins_dB, margins, margins_many, open_loop
from controller.response import Unity, Zpk, response
from plant.errors import InputError


def zpk(zeros, poles, gain, period_s=0.0, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), period_s, delay_s)


@st.composite
def continuous_loops(draw, stable_poles=False):
    """A random continuous loop of up to five poles over two decades, with integrators, resonances and zeros."""
    def roots(count, may_be_outside):
        found = []
        while len(found) < count:
            size = 10.0 ** draw(st.floats(-1, 1))
            side = 1.0 if may_be_outside and draw(st.integers(0, 3)) == 0 else -1.0
            if count - len(found) > 1 and draw(st.booleans()):
                damping = draw(st.floats(0.02, 0.95))
                root = size * complex(side * damping, math.sqrt(1.0 - damping**2))
                found += [root, root.conjugate()]
            else:
                found.append(complex(side * size))
        return found

    order, integrators = draw(st.integers(1, 4)), draw(st.integers(0, 2))
    poles, zeros = roots(order, not stable_poles), roots(draw(st.integers(0, order)), True)
    size = abs(np.prod(poles)) / abs(np.prod(zeros)) if zeros else abs(np.prod(poles))
    gain = size * 10.0 ** draw(st.floats(-1.5, 1.5)) * draw(st.sampled_from([1, 1, 1, -1]))
    return zpk(zeros, poles + [0.0] * integrators, gain)


@st.composite
def sampled_loops(draw):
    """A random sampled loop: poles and zeros of magnitude 0.2 to 1/0.9, any angle, up to one integrator."""
    def roots(count):
        found = []
        while len(found) < count:
            size = draw(st.sampled_from([draw(st.floats(0.2, 0.98)), 1.0 / draw(st.floats(0.9, 0.98))]))
            if count - len(found) > 1 and draw(st.booleans()):
                root = size * cmath.exp(1j * draw(st.floats(0.1, 3.0)))
                found += [root, root.conjugate()]
            else:
                found.append(complex(size * draw(st.sampled_from([1, 1, -1]))))
        return found

    order = draw(st.integers(1, 4))
    poles = roots(order) + [1.0] * draw(st.integers(0, 1))
    return zpk(roots(draw(st.integers(0, order))), poles, 10.0 ** draw(st.floats(-2, 0.5)), draw(st.floats(1e-3, 1.0)))


def closed_loop(part, gain=1.0, ticks=0):
    """Closed-loop poles of a rational part with `ticks` of added delay."""
    numerator = part.gain * gain * np.real(np.poly(part.zeros))
    denominator = np.append(np.real(np.poly(part.poles)), np.zeros(ticks))
    return np.roots(np.polyadd(numerator, denominator))


def outside(part, poles):
    """How many poles are outside the boundary, and how far the nearest is from it (relative; a lost one is on it)."""
    if len(poles) < len(part.poles):
        return 0, 0.0
    excess = np.abs(poles) - 1.0 if part.period_s > 0.0 else poles.real / np.maximum(np.abs(poles), 1e-9)
    return int(np.sum(excess > 0.0)), float(np.min(np.abs(excess)))


@settings(max_examples=300, deadline=None)
@given(st.one_of(continuous_loops(), sampled_loops()))
def test_unstable_poles_are_those_of_the_closed_loop_polynomial(part):
    """The argument principle and the roots of numerator + denominator must count alike (numpy's eigenvalue roots)."""
    count, distance = outside(part, closed_loop(part))
    assume(distance > 1e-5)
    found = margins(open_loop(part))
    assume(found.modulus_margin > 1e-9)
    assert found.resolved
    assert found.unstable_closed_loop_poles == count
    assert found.stable == (count == 0)


@settings(max_examples=150, deadline=None)
@given(st.one_of(continuous_loops(stable_poles=True), sampled_loops()))
def test_gain_margins_put_a_pole_on_the_boundary_and_bound_the_stable_gains(part):
    """At each phase crossover's gain 1 + gL = 0; strictly between the two gain margins the loop stays stable."""
    found = margins(open_loop(part))
    for crossover in found.phase_crossovers:
        if 1e-3 < crossover.gain_margin < 1e3 and crossover.frequency_Hz < math.inf:
            omega = 2 * math.pi * crossover.frequency_Hz
            assume(omega > 0.0)
            assert abs(1.0 + crossover.gain_margin * response(part, omega)) < 1e-9
    assume(found.stable and found.modulus_margin > 1e-9 and outside(part, closed_loop(part))[1] > 0.0)
    low, high = max(found.gain_reduction_margin, 1e-3), min(found.gain_margin, 1e3)
    for share in (0.02, 0.3, 0.7, 0.98):
        assert outside(part, closed_loop(part, low * (high / low) ** share))[0] == 0


@settings(max_examples=100, deadline=None)
@given(continuous_loops())
def test_gain_crossovers_lie_on_the_unit_circle(part):
    """|L| = 1 at each, with the stated phase; the modulus margin is no farther than either kind of crossing."""
    found = margins(open_loop(part))
    for crossover in found.gain_crossovers:
        value = response(part, 2 * math.pi * crossover.frequency_Hz)
        assert abs(abs(value) - 1.0) < 1e-10
        assert -value == pytest.approx(cmath.rect(1.0, math.radians(crossover.phase_margin_deg)), abs=1e-9)
        assert found.modulus_margin <= 2 * abs(math.sin(math.radians(crossover.phase_margin_deg) / 2)) + 1e-9
    for crossover in found.phase_crossovers:
        assert found.modulus_margin <= abs(1.0 - 1.0 / crossover.gain_margin) + 1e-9


@settings(max_examples=100, deadline=None)
@given(continuous_loops(stable_poles=True), st.floats(-1, 1), st.floats(-3, 3))
def test_scaling_gain_and_time(part, gain_decades, time_decades):
    """L → kL divides every gain margin by k; s → s/a keeps margins, multiplies frequencies and divides delays by a."""
    assume(outside(part, closed_loop(part))[1] > 1e-4)
    first = margins(open_loop(part))
    a = 10.0**time_decades
    scaled = zpk(part.zeros * a, part.poles * a, part.gain * a ** (len(part.poles) - len(part.zeros)))
    second = margins(open_loop(scaled))
    assert second.stable == first.stable
    assert second.gain_margin == pytest.approx(first.gain_margin, rel=1e-8)
    assert abs(second.phase_margin_deg) == pytest.approx(abs(first.phase_margin_deg), rel=1e-8)
    assert second.modulus_margin == pytest.approx(first.modulus_margin, rel=1e-7, abs=1e-9)
    assert [c.frequency_Hz for c in second.gain_crossovers] == pytest.approx(
        [a * c.frequency_Hz for c in first.gain_crossovers], rel=1e-8)
    assert second.bandwidth_Hz == pytest.approx(a * first.bandwidth_Hz, rel=1e-8, nan_ok=True)
    assert second.delay_margin_s == pytest.approx(first.delay_margin_s / a, rel=1e-8)
    k = 10.0**gain_decades
    louder = margins(open_loop(part._replace(gain=part.gain * k)))
    pairs = [(c.gain_margin, c.frequency_Hz) for c in first.phase_crossovers if 1e-4 < c.gain_margin < 1e4]
    for gain, frequency in pairs:
        assert any(c.gain_margin == pytest.approx(gain / k, rel=1e-8) and
                   c.frequency_Hz == pytest.approx(frequency, rel=1e-6) for c in louder.phase_crossovers)


@settings(max_examples=60, deadline=None)
@given(st.one_of(continuous_loops(), sampled_loops()))
def test_the_grid_does_not_matter(part):
    """A grid three times finer finds the same margins."""
    assume(outside(part, closed_loop(part))[1] > 1e-4)
    loop = open_loop(part)
    coarse, fine = margins(loop), margins(loop, points_per_decade=60)
    assert coarse.unstable_closed_loop_poles == fine.unstable_closed_loop_poles
    assert coarse.gain_margin == pytest.approx(fine.gain_margin, rel=1e-9)
    assert coarse.phase_margin_deg == pytest.approx(fine.phase_margin_deg, rel=1e-9, abs=1e-9)
    assert coarse.modulus_margin == pytest.approx(fine.modulus_margin, rel=1e-3)
    assert coarse.bandwidth_Hz == pytest.approx(fine.bandwidth_Hz, rel=1e-9, nan_ok=True)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.3, 0.95), st.floats(0.3, 0.95), st.floats(0.02, 0.5), st.floats(-0.9, 0.5))
def test_delay_margin_of_a_sampled_loop_in_whole_ticks(first, second, gain, zero):
    """As many whole ticks of delay as fit under the margin keep every closed-loop pole inside; one more does not."""
    part = zpk([zero], [first, second, 1.0], gain * (1 - first) * (1 - second) / (1 - zero), 0.01)
    found = margins(open_loop(part))
    assume(found.stable and 0.5 < found.delay_margin_ticks < 60)
    ticks = found.delay_margin_ticks
    assume(abs(ticks - round(ticks)) > 1e-3)
    assert outside(part, closed_loop(part, ticks=math.floor(ticks)))[0] == 0
    assert outside(part, closed_loop(part, ticks=math.ceil(ticks)))[0] > 0
    delayed = margins(open_loop(part._replace(delay_s=0.01 * math.floor(ticks))))
    assert delayed.stable
    assert delayed.delay_margin_ticks == pytest.approx(ticks - math.floor(ticks), abs=1e-8)


def test_sampled_loop_that_lets_no_delay_through_because_it_is_loud_at_its_highest_frequency():
    """L = 1.5/z⁰-like gain at z = -1: one tick turns it to -1.5, so the delay margin is one tick at most."""
    part = zpk([0.0], [0.1], 1.5, 0.01)  # 1.5 z/(z − 0.1): |L| > 1 at every frequency
    found = margins(open_loop(part))
    assert found.stable and outside(part, closed_loop(part))[0] == 0
    assert found.gain_crossovers == ()
    assert found.delay_margin_ticks == pytest.approx(1.0)
    assert outside(part, closed_loop(zpk([], [0.1], 1.5, 0.01)))[0] == 1


def test_bandwidth_of_textbook_closed_loops():
    """ω0/s closes to a first-order lag of bandwidth ω0; 1/(s + 1) to a lag at 2 rad/s, 3 dB below its own 1/2."""
    assert margins(open_loop(zpk([], [0], 7))).bandwidth_Hz * 2 * math.pi == pytest.approx(7, rel=1e-10)
    assert margins(open_loop(zpk([], [-1], 1))).bandwidth_Hz * 2 * math.pi == pytest.approx(2, rel=1e-10)
    zeta = 0.5  # ωn²/(s(s + 2ζωn)): ω_b = ωn sqrt(1 − 2ζ² + sqrt(4ζ⁴ − 4ζ² + 2)) (Ogata, from memory)
    exact = math.sqrt(1 - 2 * zeta**2 + math.sqrt(4 * zeta**4 - 4 * zeta**2 + 2))
    assert margins(open_loop(zpk([], [0, -2 * zeta], 1))).bandwidth_Hz * 2 * math.pi == pytest.approx(exact, rel=1e-10)


# --- many at once -------------------------------------------------------------------------------------------------


class SampledPID(NamedTuple):
    """A toy controller: kp + ki T z/(z − 1) + kd (z − 1)/(T z)."""

    kp: float
    ki: float
    kd: float
    period_s: float


@response.of(SampledPID)
def sampled_pid_response(part, omega):
    z = cmath.exp(1j * omega * part.period_s)
    return part.kp + part.ki * part.period_s * z / (z - 1.0) + part.kd * (z - 1.0) / (part.period_s * z)


PLANT = zpk([-0.8], [0.8, 0.6 + 0.3j, 0.6 - 0.3j, 0.0], 0.02, 1e-3)


def many_loop(rows):
    return OpenLoop(PLANT, SampledPID(*map(float, rows[0])), 1e-3, 1, 0, 0.1, math.pi / 1e-3)


def random_rows(count, seed=0):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0.01, 8, count), 10 ** rng.uniform(0, 3, count), rng.uniform(0, 4e-3, count),
                            np.full(count, 1e-3)])


def test_many_are_the_same_as_one_by_one():
    """Stable and unstable rows alike, to 1e-9."""
    rows = random_rows(300)
    loop = many_loop(rows)
    table = margins_many(loop, rows)
    assert 0.2 < np.mean(table.stable) < 0.95, "the sample must hold both kinds"
    for i, row in enumerate(rows):
        one = margins(loop._replace(controller=SampledPID(*map(float, row))))
        for name in table._fields:
            tolerance = 1e-7 if name == "modulus_margin_Hz" else 1e-9  # a minimum is flat
            expected = pytest.approx(getattr(table, name)[i], rel=tolerance, abs=1e-12, nan_ok=True)
            assert getattr(one, name) == expected, name


def test_many_agree_with_closed_loop_polynomials():
    rows = random_rows(300, seed=1)
    table = margins_many(many_loop(rows), rows)
    for (kp, ki, kd, period), unstable in zip(rows, table.unstable_closed_loop_poles, strict=True):
        controller = np.array([kp + ki * period + kd / period, -kp - 2 * kd / period, kd / period])
        numerator = np.polymul(PLANT.gain * np.real(np.poly(PLANT.zeros)), controller)
        denominator = np.polymul(np.real(np.poly(PLANT.poles)), [1.0, -1.0, 0.0])
        size = np.abs(np.roots(np.polyadd(numerator, denominator)))
        assert np.sum(size > 1.0) == unstable or np.min(np.abs(size - 1.0)) < 1e-6


def test_integrators_may_differ_by_row():
    """Without integral action the same plant has no open-loop pole at z = 1."""
    rows = random_rows(2)
    rows[1, 1] = 0.0
    table = margins_many(many_loop(rows), rows, integrators=[1, 0])
    kp, _, kd, period = rows[1]
    part = zpk(np.concatenate([PLANT.zeros, np.roots([kp + kd / period, -kd / period])]),
               np.concatenate([PLANT.poles, [0.0]]), PLANT.gain * (kp + kd / period), period)
    assert table.gain_margin[1] == pytest.approx(margins(open_loop(part)).gain_margin, rel=1e-9)
    assert table.modulus_margin[1] == pytest.approx(margins(open_loop(part)).modulus_margin, rel=1e-9)


def test_bad_rows_are_one_clear_line():
    rows = random_rows(3)
    loop = many_loop(rows)
    with pytest.raises(InputError, match=r"fields kp, ki, kd, period_s"):
        margins_many(loop, rows[:, :3])
    rows[2, 1] = np.nan
    with pytest.raises(InputError, match=r"row 2, ki = nan"):
        margins_many(loop, rows)
    with pytest.raises(InputError, match=r"integrators: must be 3 whole numbers"):
        margins_many(loop, random_rows(3), integrators=[1, 0])
    with pytest.raises(InputError, match=r"all floats"):
        margins_many(loop._replace(controller=PLANT), rows)


# --- what cannot be judged ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("change", "message"), [
    ({"low_rad_s": 0.0}, "low_rad_s = 0"), ({"low_rad_s": 1e9}, "low_rad_s = 1e"),
    ({"high_rad_s": 5.0}, "high_rad_s = 5"), ({"integrators": -1}, "integrators = -1"),
])
def test_impossible_loops_are_one_clear_line(change, message):
    with pytest.raises(InputError, match=message):
        margins(many_loop(random_rows(1))._replace(**change))


@pytest.mark.parametrize(("parts", "message"), [
    ((zpk([], [0.5], 1, 0.1), zpk([], [0.5], 1, 0.2)), "period_s"), ((zpk([1, 2], [-1], 1),), "more zeros"),
    ((zpk([], [1j, -1j, -1], 1),), "stability boundary"), ((zpk([], [-1.0], 1, 0.1),), "stability boundary"),
    ((zpk([], [0.5], 1, 0.1, 0.15),), "whole number of periods"),
])
def test_parts_that_make_no_loop_are_one_clear_line(parts, message):
    with pytest.raises(InputError, match=message):
        open_loop(*parts)


def test_poles_are_counted_on_both_sides_of_the_boundary():
    assert count_poles([0, 0, -1, 2, 1 + 5j, 1 - 5j], 0.0) == (2, 3)
    assert count_poles([1.0, 0.0, 0.5, -1.2], 0.1) == (1, 1)
    assert count_poles([], 0.1) == (0, 0)


def test_a_phase_that_cannot_be_followed_is_said_to_be():
    """A dead time of millions of turns inside the band is more than the grid holds."""
    loop = OpenLoop(zpk([], [-1], 0.5, delay_s=1e6), Unity(1.0), 0.0, 0, 0, 1e-3, 1e3)
    found = margins(loop)
    assert not found.resolved
    assert "TOO COARSE" in str(found)


def test_a_band_that_ends_before_the_loop_has_rolled_off_is_said_so():
    assert not margins(OpenLoop(zpk([], [0], 100), Unity(1.0), 0.0, 1, 0, 1e-3, 10.0)).resolved


def test_gain_margins_in_decibels() -> None:
    """A factor of ten is 20 dB; a reduction that never matters is a factor of nothing, and infinite."""
    gain, reduction = gain_margins_dB([10.0, 2.0], [0.1, 0.0])
    assert gain == pytest.approx([20.0, 6.0206], abs=1e-4) and reduction.tolist() == [20.0, math.inf]


def test_pole_counts_that_cannot_be():
    """Neither of them below zero nor broken, and one for each row."""
    loop = open_loop(Zpk(np.zeros(0, complex), np.array([-1.0 + 0j]), 1.0))
    rows = np.ones((2, 1))
    for wrong in ([-1, 0], [0.5, 0.0], [0, 0, 0], -1, 0.5):
        with pytest.raises(InputError, match="whole numbers"):
            margins_many(loop, rows, wrong, 0)
        with pytest.raises(InputError, match="whole numbers"):
            margins_many(loop, rows, 0, wrong)
    assert list(margins_many(loop, rows, [0, 0], 0).stable) == [True, True]


@pytest.mark.parametrize("gain", [3.0, 1e3, 1e6])
def test_crossovers_far_outside_the_corners_are_in_the_band(gain):
    """k s/(s + 1)² has |L| = 1 where ω² − kω + 1 = 0, a factor k below and above its corner."""
    found = margins(open_loop(Zpk(np.array([0j]), np.array([-1.0, -1.0], complex), gain)))
    root = math.sqrt(gain * gain - 4.0)
    low = 2.0 / (gain + root)
    assert found.resolved and found.stable
    crossings_rad_s = sorted(2.0 * math.pi * crossing[0] for crossing in found.gain_crossovers)
    assert crossings_rad_s == pytest.approx([low, 1.0 / low], rel=1e-6)
