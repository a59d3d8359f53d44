"""The survey of one response: edges of the frequency axis, counts at the boundary, compiled against interpreted."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.margins import crossings, survey
from controller.margins.margins import OpenLoop, margins, open_loop
from controller.margins.survey import Survey, filled, quarter_turns
from controller.response import Unity, Zpk


def zpk(zeros, poles, gain, period_s=0.0, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), period_s, delay_s)


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


LOOPS = [
    zpk([], [-1, -1, -1], 3), zpk([], [0, -1, -1], 3), zpk([-6, -6], [0, -1, -1], 3), zpk([-2], [1, -5], 6),
    zpk([-0.1], [0, 0, -1], 1), zpk([], [-1, -1], 1.4, delay_s=1.0), zpk([-0.2], [-1], -0.5), zpk([0], [-1, -2], 9),
    zpk([], [complex(-0.01, 1), complex(-0.01, -1), -5], 0.1002), zpk([-0.5], [-1], 2, delay_s=0.1), zpk([], [-1], 2),
    zpk([-0.8], [0.8, 0.6 + 0.3j, 0.6 - 0.3j, 0.0], 0.3, 1e-3), zpk([0.0], [0.1], 1.5, 0.01),
    zpk([], [1, 0.9], -0.02, 0.1), zpk([0.5], [1, 1, 0.2], 0.05, 0.1), zpk([], [-1, -2, -3, -4, -5], 900),
]


@pytest.mark.parametrize("part", LOOPS)
def test_compiled_search_does_what_its_python_says(part, monkeypatch):
    """Every figure and crossing of the compiled survey, against the same source run by the interpreter."""
    loop = open_loop(part)
    compiled = margins(loop)
    interpret(monkeypatch, crossings, survey)
    monkeypatch.setattr("controller.margins.margins.survey_one", survey.survey_one)
    monkeypatch.setattr("controller.margins.margins.grid", survey.grid)
    monkeypatch.setattr("controller.margins.margins.CAPACITY", 3000)
    with np.errstate(all="ignore"):
        interpreted = margins(loop)
    for name in ("stable", "unstable_closed_loop_poles", "resolved"):
        assert getattr(interpreted, name) == getattr(compiled, name)
    for name in ("gain_margin", "gain_reduction_margin", "phase_margin_deg", "delay_margin_s", "modulus_margin",
                 "bandwidth_Hz", "crossover_Hz"):
        assert getattr(interpreted, name) == pytest.approx(getattr(compiled, name), rel=1e-9, nan_ok=True)
    assert np.array(interpreted.gain_crossovers) == pytest.approx(np.array(compiled.gain_crossovers), rel=1e-9)
    assert np.array(interpreted.phase_crossovers) == pytest.approx(np.array(compiled.phase_crossovers), rel=1e-9)


def test_many_interpreted(monkeypatch):
    """The table of many loops, run by the interpreter, against the single survey."""
    part = zpk([], [-1, -1, -1], 1)
    omega = np.geomspace(1e-3, 1e3, 120)
    response_there = np.array([survey.loop_at(part, Unity(1.0), w) for w in omega])
    counts = np.zeros(2, np.int64)
    interpret(monkeypatch, crossings, survey)
    rows = np.array([[3.0], [9.0]])
    table = survey.survey_many(
        part, Unity(1.0), rows, survey.Curve(omega, response_there, -1e3), counts, counts, 1000)
    assert table.shape == (2, len(Survey._fields))
    assert list(table[:, Survey._fields.index("unstable")]) == [0.0, 2.0]
    assert table[:, Survey._fields.index("gain_margin")] == pytest.approx([8 / 3, 8 / 9], rel=1e-9)


def test_a_row_becomes_a_part():
    assert filled(Unity(2.0), np.array([7.0])) == Unity(7.0)


@given(st.booleans(), st.sampled_from([0, 1, 2, 3]), st.floats(-2, 2).filter(lambda x: x != 0))
def test_argument_at_an_end_in_quarter_turns(above, integrators, reach):
    """k/s^m ends at −m·90°: an odd number of quarter turns for odd m; on the real axis 0 or half a turn."""
    turns = quarter_turns.py_func(reach, above, integrators)
    assert turns % 2 == integrators % 2 and abs(turns) <= 2
    assert (turns > 0) == (above and turns != 0)
    if integrators % 2 == 0:
        assert (turns == 0) == (reach > 0)


@pytest.mark.parametrize(("integrators", "unstable"), [(1, 0), (2, 2), (3, 2)])
def test_pure_integrators_by_hand(integrators, unstable):
    """1 + 1/s^m with a far pole: s + 1 is stable; s² + 1 and s³ + 1 with the pole's lag have two poles outside."""
    found = margins(open_loop(zpk([], [0] * integrators + [-100], 100)))
    assert found.unstable_closed_loop_poles == unstable


def test_continuous_feedthrough():
    """(2s + 1)/(s + 1) ends at 2: any delay breaks it; −(0.5 s + 0.1)/(s + 1) loses stability at twice the gain."""
    assert margins(open_loop(zpk([-0.5], [-1], 2))).delay_margin_s == 0.0
    found = margins(open_loop(zpk([-0.2], [-1], -0.5)))
    assert found.stable and found.gain_margin == pytest.approx(2.0) and found.gain_margin_Hz == math.inf
    assert not margins(open_loop(zpk([-0.5], [-1], 2, delay_s=0.1))).stable
    assert margins(open_loop(zpk([-0.5], [-1], 0.5, delay_s=0.1))).gain_margin == pytest.approx(2.0, rel=1e-3)


@given(st.floats(-8, 1))
def test_an_integrators_crossover_is_found_below_the_band(decades):
    """k/s/(s + 1) with a band that starts at 0.1 rad/s: the crossover at k is found however small k is."""
    k = 10.0**decades
    loop = OpenLoop(zpk([], [-1, 0], k), Unity(1.0), 0.0, 1, 0, 0.1, 1e4)
    exact = math.sqrt((math.sqrt(1.0 + 4.0 * k * k) - 1.0) / 2.0) if k > 1e-3 else k * (1.0 - k * k / 2.0)
    assert margins(loop).crossover_Hz * 2 * math.pi == pytest.approx(exact, rel=1e-9)


def test_a_loop_on_the_boundary_is_not_called_stable():
    """1/s² closes to an undamped oscillator: no phase margin, and L lies on the axis at every frequency."""
    for part in (zpk([], [0, 0], 1), zpk([-1], [-1, 0, 0], 1)):
        found = margins(open_loop(part))
        assert not found.stable
        assert found.phase_margin_deg == pytest.approx(0.0, abs=1e-9) and found.modulus_margin < 1e-12
        assert found.phase_crossovers == ()


def test_a_flat_start_has_no_crossings_of_rounding():
    """A Butterworth lag of unit gain, |L|² = 1/(1 + ω⁶), lies on the unit circle to rounding for decades."""
    found = margins(open_loop(zpk([], [-1, complex(-0.5, math.sqrt(0.75)), complex(-0.5, -math.sqrt(0.75))], 1)))
    assert found.gain_crossovers == ()
    assert found.stable and found.gain_margin == pytest.approx(3.0, rel=1e-9), "1/(s³ + 2s² + 2s + 1) at ω² = 2"


def test_twin_resonance_samples_do_not_hide_a_crossing():
    """A crossing of -180° exactly at a resonance, where the grid may hold two samples a rounding error apart."""
    for scale in (1.0, 10.0**0.5, 1000.0, 10.0**2.606):
        poles = np.array([complex(-0.125, math.sqrt(1 - 0.125**2)), complex(-0.125, -math.sqrt(1 - 0.125**2)), 0, 0])
        zeros = np.array([complex(-0.5, math.sqrt(0.75)), complex(-0.5, -math.sqrt(0.75))])
        found = margins(open_loop(zpk(zeros * scale, poles * scale, scale**2)))
        assert found.unstable_closed_loop_poles == 2
        assert found.gain_margin == pytest.approx(0.25, rel=1e-9)


def test_delay_margin_of_a_crossover_above_the_axis():
    """L = 0.4 s²/(s² + 0.2 s + 1) crosses one twice in the upper half plane: delay must turn it through −180° from
    above. |L|² = 1 is 0.84 x² − 1.96 x + 1 = 0 in x = ω², arg L = 180° − arg(1 − x + 0.2 jω)."""
    zeros, poles = [0, 0], [complex(-0.1, math.sqrt(0.99)), complex(-0.1, -math.sqrt(0.99))]
    delays = []
    for x in ((1.96 - math.sqrt(1.96**2 - 3.36)) / 1.68, (1.96 + math.sqrt(1.96**2 - 3.36)) / 1.68):
        w = math.sqrt(x)
        delays.append((2.0 * math.pi - math.atan2(0.2 * w, 1.0 - x)) / w)
    found = margins(open_loop(zpk(zeros, poles, 0.4)))
    assert found.stable and found.delay_margin_s == pytest.approx(min(delays), rel=1e-6)
    assert margins(open_loop(zpk(zeros, poles, 0.4, delay_s=0.99 * min(delays)))).stable
    assert not margins(open_loop(zpk(zeros, poles, 0.4, delay_s=1.01 * min(delays)))).stable


@pytest.mark.parametrize("gain", [0.2, 1.0, 4.0, 30.0])
def test_bandwidth_of_a_loop_without_an_integral(gain):
    """k/(s + 1) closes to k/(s + 1 + k): half its power at zero frequency is at 1 + k rad/s; k/s is at k."""
    lag, integrator = margins(open_loop(zpk([], [-1], gain))), margins(open_loop(zpk([], [0], gain)))
    assert lag.bandwidth_Hz * 2.0 * math.pi == pytest.approx(1.0 + gain, rel=1e-6)
    assert integrator.bandwidth_Hz * 2.0 * math.pi == pytest.approx(gain, rel=1e-6)


@pytest.mark.parametrize(("part", "least", "at_rad_s"), [
    (zpk([], [-1], -0.75), 0.25, 0.0),  # 1 − 0.75/(s + 1) is least at zero frequency
    (zpk([0], [-1], -0.75), 0.25, math.inf),  # 1 − 0.75 s/(s + 1) at the highest
    (zpk([], [-1], 3.0), 1.0, math.inf),  # 1 + 3/(s + 1) falls to 1
])
def test_the_nearest_point_may_lie_at_either_end(part, least, at_rad_s):
    found = margins(open_loop(part))
    assert found.modulus_margin == pytest.approx(least, rel=1e-6)
    assert found.modulus_margin_Hz * 2.0 * math.pi == pytest.approx(at_rad_s) or found.modulus_margin == least


@pytest.mark.parametrize("gain", [0.5, 0.999, 1.001, 3.0])
def test_the_gain_at_which_one_pole_at_zero_frequency_crosses(gain):
    """−k/(s + 1) is unstable from k = 1 on, by one pole; the nearest gain that changes that is 1/k either way."""
    found = margins(open_loop(zpk([], [-1], -gain)))
    assert found.unstable_closed_loop_poles == (1 if gain > 1.0 else 0)
    assert found.gain_margin == pytest.approx(1.0 / gain, rel=1e-6) and found.gain_margin_Hz == 0.0


def test_an_unstable_plant_needs_gain():
    """k/(s − 1) is stable above k = 1: k = 4 may fall by 4 and rise for ever; k = 0.5 needs twice as much."""
    found = margins(open_loop(zpk([], [1], 4.0)))
    assert found.stable and found.gain_margin == math.inf and found.gain_reduction_margin == pytest.approx(0.25)
    found = margins(open_loop(zpk([], [1], 0.5)))
    assert found.unstable_closed_loop_poles == 1 and found.gain_margin == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize("period_s", [1e-3, 1.0, 10.0])
def test_the_unit_of_time_does_not_matter_to_a_sampled_loop(period_s):
    """0.5/(z − 1): a pole at 1 − k, so at most four times the gain; |L| = 1 where 2 sin(ωT/2) = 0.5."""
    found = margins(open_loop(zpk([], [1.0], 0.5, period_s)))
    assert found.stable and found.resolved and found.gain_margin == pytest.approx(4.0, rel=1e-9)
    assert found.crossover_Hz * 2.0 * math.pi * period_s == pytest.approx(2.0 * math.asin(0.25), rel=1e-9)
