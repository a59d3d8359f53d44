"""Loops judged over the search's slope error, and with what the command does."""
import math

import pytest

from controller.margins.disturbed import EFFORTS
from controller.margins.loop import loop_margins
from experiments.check.judged import judge_loops, least_margins, margin_figures, over_slope_error, with_effort, worst_of
from experiments.rigs.rig import clamp, load_rig
from plant.pressure.synthetic import SyntheticPressure, synthesise

HERE = {"mean": 95.0, "low": 70.0}


@pytest.fixture(scope="module")
def rig():
    return load_rig("wrist")


@pytest.fixture(scope="module")
def trace():
    return synthesise(SyntheticPressure(), 1e-3, 12.0, 1)


def test_the_slope_s_error_is_a_factor_on_the_gain_about_the_true_slope(rig):
    true = clamp(rig, 95.0, 0.0).light_slope
    loops = over_slope_error(judge_loops(rig, HERE, light_slope=1.02 * true), rig, 95.0, 0.1)
    for judged in loops:
        low, right, high = judged.spread
        assert right.phase_margin_deg == loop_margins(judged.loop._replace(light_slope=true)).phase_margin_deg
        assert low.gain_margin / right.gain_margin == pytest.approx(1.0 / 0.9, rel=1e-6)
        assert high.gain_margin / right.gain_margin == pytest.approx(1.0 / 1.1, rel=1e-6)


def test_figures_are_the_worst_over_it(rig):
    plain = judge_loops(rig, HERE)
    spread = over_slope_error(plain, rig, 95.0, 0.1)
    found, before = margin_figures(spread), margin_figures(plain)
    assert found["gain_margin_dB"] == pytest.approx(before["gain_margin_dB"] + 20 * math.log10(1 / 1.1), abs=1e-6)
    assert found["sensitivity_peak"] > before["sensitivity_peak"] and found["modulus_margin"] < before["modulus_margin"]
    assert found == least_margins([m for j in spread for m in (j.margins, *j.spread)])
    assert worst_of(spread).name == worst_of(plain).name


def test_no_error_leaves_the_true_slope_alone(rig):
    for judged in over_slope_error(judge_loops(rig, HERE), rig, 95.0, 0.0):
        assert [m.phase_margin_deg for m in judged.spread] == [pytest.approx(judged.margins.phase_margin_deg)]


def test_the_command_is_told_where_a_pressure_is_known(rig, trace):
    plain = judge_loops(rig, HERE)
    assert not set(EFFORTS) & set(margin_figures(plain))
    noisy = load_rig("wrist", ["light.noise=0.002"])
    quiet, loud = (margin_figures(with_effort(judge_loops(r, HERE), r, trace)) for r in (rig, noisy))
    ratio = loud["command_noise_rms"] / quiet["command_noise_rms"]
    assert ratio == pytest.approx(0.002 / math.hypot(2e-5, 2.0**-16 / math.sqrt(12.0)), rel=1e-3)
    assert loud["command_pulse_rms"] == pytest.approx(quiet["command_pulse_rms"])
    assert loud["command_step_sd"] > quiet["command_step_sd"] and loud["command_limit_share"] > 0.0


def test_an_unstable_loop_has_no_effort(rig, trace):
    wild = rig._replace(controller=rig.controller._replace(kp=10.0 * rig.controller.kp))
    found = margin_figures(with_effort(judge_loops(wild, HERE), wild, trace))
    assert all(math.isnan(found[name]) for name in EFFORTS)
