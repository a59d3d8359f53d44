"""The loop on the page is the loop that `margins` and `check` judge."""
import numpy as np
import pytest

from experiments.bench.answers.loop import FEW, MANY, loop_answer, margin_row, response_of
from experiments.check.judged import judge_loops, margin_figures
from experiments.rigs.rig import load_rig

PRESSURES = {"mean": 92.0, "low": 75.0, "high": 119.0}


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_figures_are_those_of_the_judged_loops(name):
    rig = load_rig(name)
    head, curves = loop_answer(rig, PRESSURES)
    loops = judge_loops(rig, PRESSURES)
    assert head["figures"] == margin_figures(loops)
    assert [row["phase_margin_deg"] for row in head["margins"]] == [j.margins.phase_margin_deg for j in loops]
    worst = next(j for j in loops if j.name == head["worst"])
    total = sum(head["budget"]["degrees"].values())
    assert (180.0 + total) % 360.0 == pytest.approx(worst.margins.phase_margin_deg, abs=1e-6)
    assert len(curves["frequency_Hz"]) == MANY and len(head["sides"]) == (2 if name == "wrist" else 1)


def test_curves_pass_through_the_margins():
    rig = load_rig("wrist")
    head, curves = loop_answer(rig, PRESSURES)
    worst = next(row for row in head["margins"] if row["name"] == head["worst"])
    number = 0 if head["worst"].endswith("fill") else 1
    gain = np.interp(worst["crossover_Hz"], curves["frequency_Hz"], curves[f"gain_dB_{number}"])
    phase = np.interp(worst["crossover_Hz"], curves["frequency_Hz"], curves[f"phase_deg_{number}"])
    assert abs(gain) < 0.05 and phase + 180.0 == pytest.approx(worst["phase_margin_deg"], abs=0.3)


def test_quick_is_the_mean_pressure_without_a_budget():
    rig = load_rig("wrist")
    head, curves = loop_answer(rig, PRESSURES, quick=True)
    whole, _ = loop_answer(rig, PRESSURES)
    assert head["margins"] == whole["margins"][:2] and "budget" not in head and len(curves["frequency_Hz"]) == FEW


def test_an_unstable_loop_has_rows_and_curves():
    head, curves = loop_answer(load_rig("wrist", ["controller.kp=0.4"]), PRESSURES)
    assert not head["stable"] and np.all(np.isfinite(curves["gain_dB_0"]))


def test_the_response_is_that_of_the_margins():
    judged = judge_loops(load_rig("wrist"), {"mean": 92.0})[0]
    gain = response_of(judged.loop, np.array([judged.margins.crossover_Hz]))
    assert abs(gain[0]) == pytest.approx(1.0, abs=1e-9)
    assert margin_row(judged)["modulus_margin"] == judged.margins.modulus_margin
