"""The answer to a turned knob."""
import pytest

from experiments.bench.answers.turned import followed, pinned_sections, ready_of, turned, warm
from experiments.bench.asked import Refused
from experiments.bench.setup import pressures
from experiments.check.judged import judge_loops, margin_figures
from experiments.rigs.rig import load_rig
from tests.experiments.bench.helper import SETUP, asked


def test_in_full_it_has_margins_at_each_pressure_a_run_and_what_repeats_it():
    warm(SETUP, "wrist")
    found = turned(asked(settings={"controller.kp": 0.02}))
    rig = load_rig("wrist", ["controller.kp=0.02"])
    assert found.head["loop"]["figures"] == margin_figures(judge_loops(rig, pressures(SETUP, 0.001)))
    assert found.head["strips"]["run"] == "done" and "--set controller.kp=0.02" in found.head["repeats"]["check"]
    assert {"frequency_Hz", "gain_dB_0", "time_s", "cuff_mmHg", "error_mmHg"} <= set(found.arrays)


def test_while_dragging_it_is_quick():
    found = turned(asked(settings={"controller.kp": 0.02}, dragging=True))
    assert found.head["quick"] and "repeats" not in found.head and len(found.head["loop"]["margins"]) == 2


def test_a_rig_that_cannot_clamp_is_refused_with_the_knob_that_was_moved():
    with pytest.raises(Refused) as line:
        turned(asked(settings={"supply.pressure_mmHg": 60.0}, moved="supply.pressure_mmHg"))
    assert line.value.key == "supply.pressure_mmHg"


def test_the_tube_is_pinned_to_what_the_rig_came_with():
    assert pinned_sections(SETUP, "wrist") == 1 and pinned_sections(SETUP, "cabinet") == 8
    assert followed(load_rig("wrist", ["tube.length_m=1.0"])) == {"tube.sections": 7}
    assert followed(load_rig("wrist", ["tube.kind=none"])) == {}
    assert ready_of(asked()).ticks == 5000
