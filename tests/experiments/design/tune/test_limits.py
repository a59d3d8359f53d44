"""Limits on margins as a tuning takes them."""
import math

import numpy as np
import pytest

from controller.margins.disturbed import EFFORTS, Disturbed
from controller.margins.survey import Survey
from experiments.design.tune.limits import (
    FAR,
    MarginLimit,
    effort_shortfalls,
    largest_peak,
    least_delay_ticks,
    margin_limits,
    margin_values,
    shortfalls,
    split,
    with_peak,
)
from plant.errors import InputError


def surveyed(**changes):
    """Two loops: a sound one, and one with a closed-loop pole outside."""
    plain = Survey(unstable=0.0, resolved=1.0, gain_crossovers=1.0, phase_crossovers=1.0, gain_margin=3.0,
                   gain_margin_omega=300.0, gain_reduction=0.1, phase_margin=1.0, crossover_omega=100.0,
                   delay_margin_s=0.004, modulus=0.625, modulus_omega=200.0, bandwidth_omega=150.0)._replace(**changes)
    return Survey(*(np.array([value, value]) for value in plain))._replace(unstable=np.array([0.0, 2.0]))


def test_defaults_hold_where_nothing_else_is_asked():
    assert margin_limits({}) == (
        MarginLimit("sensitivity_peak", "max", 1.6), MarginLimit("delay_margin_ticks", "min", 2.0),
        MarginLimit("command_noise_rms", "max", 0.15), MarginLimit("command_pulse_rms", "max", 0.2),
        MarginLimit("command_step_sd", "max", 0.25), MarginLimit("command_limit_share", "max", 0.01))
    found = margin_limits({"sensitivity_peak": {"max": 2.0}, "rms_error_mmHg": {"max": 1.0},
                           "phase_margin_deg": {"min": 40.0}})
    assert [limit.text for limit in found][:4] == [
        "sensitivity peak Ms ≤ 2", "phase margin ≥ 40 °", "delay margin ≥ 2 ticks", "command rms by light noise ≤ 0.15"]


def test_margins_stand_before_the_command():
    found = margin_limits({"command_step_sd": {"max": 0.1}, "phase_margin_deg": {"min": 40.0}})
    assert split(found) == (found[:3], found[3:]) and {limit.figure for limit in found[3:]} == set(EFFORTS)
    assert next(limit.allowed for limit in found if limit.figure == "command_step_sd") == 0.1


def test_what_the_command_misses_is_a_share_of_the_limit():
    limits = split(margin_limits({}))[1]
    found = effort_shortfalls(Disturbed(*(np.array([0.3]) for _ in range(5)), np.array([1e-4])), limits)
    assert found[0] == pytest.approx([1.0, 0.5, 0.2, -2.0])  # the share of ticks by its logarithm
    lost = effort_shortfalls(Disturbed(*(np.array([math.nan]) for _ in Disturbed._fields)), limits)
    assert np.all(lost == FAR)


@pytest.mark.parametrize(("asked", "says"), [
    ({"phase_margin_deg": {"min": -5.0}}, "phase_margin_deg.min = -5: a tuning needs a limit above 0"),
    ({"sensitivity_peak": {"max": 1.0}}, "sensitivity_peak.max = 1: must be a max above 1"),
    ({"command_step_sd": {"min": 0.5}}, "command_step_sd.min = 0.5: a tuning bounds the command from above"),
    ({"sensitivity_peak": {"min": 1.5}}, "sensitivity_peak.min = 1.5: must be a max"),
])
def test_limits_that_no_loop_can_keep_are_refused(asked, says):
    with pytest.raises(InputError) as refusal:
        margin_limits(asked)
    assert says in str(refusal.value)


def test_shortfall_is_a_share_of_the_limit():
    limits = margin_limits({"sensitivity_peak": {"max": 1.5}, "gain_margin_dB": {"min": 6.0},
                            "delay_margin_ticks": {"min": 5.0}})
    found = shortfalls(surveyed(), split(limits)[0], 1e-3)
    assert found[0] == pytest.approx([1.6 / 1.5 - 1.0, 1.0 - 20 * math.log10(3.0) / 6.0, 0.2])
    assert np.all(found[1] > FAR)  # unstable: worse than any stable loop


def test_what_was_not_resolved_keeps_nothing():
    values = margin_values(surveyed(resolved=0.0), 1e-3)
    assert np.all(np.isnan(values["phase_margin_deg"]))
    assert np.all(shortfalls(surveyed(resolved=0.0), split(margin_limits({}))[0], 1e-3) >= FAR)


def test_an_endless_margin_keeps_any_minimum():
    assert shortfalls(surveyed(delay_margin_s=math.inf), split(margin_limits({}))[0], 1e-3)[0, 1] == -FAR


def test_bounds_that_follow_from_the_limits():
    limits = margin_limits({"modulus_margin": {"min": 0.7}, "delay_margin_s": {"min": 0.003}})
    assert largest_peak(limits) == pytest.approx(1.0 / 0.7)
    assert least_delay_ticks(limits, 1e-3) == pytest.approx(3.0)
    other = with_peak(limits, 2.0)
    assert largest_peak(other) == 2.0 and [o.figure for o in other] == [limit.figure for limit in limits]
