"""Which points keep the limits, which is the best of them, and the command for the worst finger alone."""
import shlex

import numpy as np

from experiments.design.sweep.verdict import best, goal, keeps, limits_of, rerun, settings_of, value_word
from experiments.rigs.requirements import default_requirements, load_requirements

LIMITS = load_requirements(default_requirements("wrist"))


def test_limits_are_those_that_a_sweep_has_figures_for(gains, people):
    names = [limit.name for limit in limits_of(gains, LIMITS)]
    assert names == ["gain_margin_dB", "phase_margin_deg", "modulus_margin", "delay_margin_ticks"]
    more = [limit.name for limit in limits_of(people, LIMITS)]
    assert more[4:] == ["rms_error_mmHg", "beat_systolic_mean_mmHg", "beat_systolic_sd_mmHg", "saturation_share",
                        "cuff_mmHg"]
    assert [limit.text for limit in limits_of(gains, {"gain_margin_dB": {"min": 6.0}})] == ["gain_margin_dB ≥ 6"]
    assert limits_of(gains, {"sensitivity_peak": {"max": 1.6}})[0].text == "sensitivity_peak ≤ 1.6"


def test_what_keeps_is_counted_by_hand(gains):
    loose = limits_of(gains, {"phase_margin_deg": {"min": 40.0}, "sensitivity_peak": {"max": 2.2}})
    kept = keeps(gains, loose)
    expected = [s == 1.0 and p >= 40.0 and m <= 2.2 for s, p, m in
                zip(*(gains.worst(n) for n in ("stable", "phase_margin_deg", "sensitivity_peak")), strict=True)]
    assert list(kept) == expected and 0 < sum(expected) < len(expected)
    assert np.array_equal(keeps(gains, []), gains.worst("stable") == 1.0)


def test_the_best_is_the_least_error_among_them(gains, people):
    loose = limits_of(gains, {"phase_margin_deg": {"min": 40.0}})
    at = best(gains, loose)
    assert goal(gains) == "predicted_rms_mmHg" and goal(people) == "rms_error_mmHg"
    assert gains.worst(goal(gains))[at] == np.min(gains.worst(goal(gains))[keeps(gains, loose)])
    assert best(gains, limits_of(gains, {"phase_margin_deg": {"min": 89.0}})) is None


def test_a_run_that_does_not_hold_keeps_nothing(people):
    assert list(keeps(people, [])) == [True, True, False]


def test_the_command_for_the_worst_finger(people):
    words = shlex.split(rerun(people, 1, ["wrist", "--simulate"]))
    name = people.fingers[int(people.worst_finger()[1])].name
    assert words == ["cuffloop", "sweep", "wrist", "controller.kp=0.0086", "--finger", name, "--simulate"]


def test_values_come_back_as_the_same_number(gains):
    for point in range(len(gains.points)):
        for text, value in zip(settings_of(gains, point), gains.points[point], strict=True):
            assert float(text.partition("=")[2]) == value
    assert [value_word(v) for v in (True, False, "direct", 12, 0.1)] == ["true", "false", "direct", "12", "0.1"]
