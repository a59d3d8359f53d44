"""Which points keep the limits, which is the best of them, and the command for the worst finger alone."""
import shlex

import numpy as np

from experiments.design.sweep.verdict import (
    best,
    binding,
    binding_counts,
    goal,
    keeps,
    limits_of,
    rerun,
    settings_of,
    value_word,
    worst_fingers,
)
from experiments.rigs.requirements import default_requirements, load_requirements

LIMITS = load_requirements(default_requirements("wrist"))


def test_limits_are_those_that_a_sweep_has_figures_for(gains, people):
    names = [limit.name for limit in limits_of(gains, LIMITS)]
    assert names == ["gain_margin_dB", "phase_margin_deg", "modulus_margin", "delay_margin_ticks", "command_noise_rms",
                     "command_pulse_rms", "command_step_sd", "command_limit_share"]
    more = [limit.name for limit in limits_of(people, LIMITS)]
    assert more[8:] == ["rms_error_mmHg", "beat_systolic_mean_percent", "beat_systolic_sd_mmHg", "saturation_share",
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
    assert list(keeps(people, [])) == list(
        (people.worst("stable") == 1.0) & (people.worst("run_done") == 1.0)) and not keeps(people, [])[2]


def test_the_command_for_the_worst_finger(people):
    words = shlex.split(rerun(people, 1, ["wrist", "--simulate"]))
    name = people.fingers[int(people.worst_finger()[1])].name
    assert words == ["cuffloop", "sweep", "wrist", "controller.kp=0.0218", "--finger", name, "--simulate"]


def test_values_come_back_as_the_same_number(gains):
    for point in range(len(gains.points)):
        for text, value in zip(settings_of(gains, point), gains.points[point], strict=True):
            assert float(text.partition("=")[2]) == value
    assert [value_word(v) for v in (True, False, "direct", 12, 0.1)] == ["true", "false", "direct", "12", "0.1"]


def test_each_worst_figure_has_its_own_finger(people):
    names = ["phase_margin_deg", "rms_error_mmHg", "cuff_mmHg"]
    found = worst_fingers(people, 0, names)
    assert sorted(n for some in found.values() for n in some) == sorted(names)
    for finger, some in found.items():
        who = [f.name for f in people.fingers].index(finger)
        for name in some:
            assert people.figures[0, who, people.names.index(name)] == people.worst(name)[0]
            assert f"--finger {finger}" in rerun(people, 0, ["wrist", "--simulate"], finger)


def test_what_binds_is_the_limit_with_least_room(gains):
    limits = limits_of(gains, {"phase_margin_deg": {"min": 40.0}, "gain_margin_dB": {"min": 6.0}})
    for i in range(len(gains.points)):
        word = binding(gains, limits, i)
        if gains.worst("stable")[i] != 1.0:
            assert word == "stability"
            continue
        rooms = {"phase margin": gains.worst("phase_margin_deg")[i] / 40.0 - 1.0,
                 "gain margin": gains.worst("gain_margin_dB")[i] / 6.0 - 1.0}
        assert word == min(rooms, key=rooms.get)
        assert (min(rooms.values()) >= 0.0) == keeps(gains, limits)[i]
    assert sum(binding_counts(gains, limits).values()) == np.sum(~keeps(gains, limits))
    assert binding(gains, [], int(np.argmax(gains.worst("stable")))) == ""


def test_a_grid_s_numbers_are_short(gains):
    assert all(len(text.partition("=")[2]) <= 12 for i in range(len(gains.points)) for text in settings_of(gains, i))
