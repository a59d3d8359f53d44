"""The run on the page is `simulate`'s own, thinned for drawing."""
import numpy as np
import pytest

from experiments.bench.answers import kernel
from experiments.bench.answers.kernel import load
from experiments.bench.answers.strips import MOST_POINTS, FILL_s, SETTLE_s, Target, onsets, strips_answer
from experiments.bench.answers.turned import ready_of
from experiments.bench.setup import window
from experiments.check.check import run_tracking
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Plan, simulate
from plant.pressure.beats import detect_beats
from tests.experiments.bench.helper import SETUP, asked


@pytest.fixture(scope="module")
def trace():
    load(ready_of(asked()))
    return window(SETUP, 0.001, 5.0)


def test_curves_and_figures_are_those_of_simulate(trace):
    rig = load_rig("wrist")
    head, curves = strips_answer(rig, trace, Target(), quick=False)
    run = simulate(rig, trace, Plan(FILL_s, SETTLE_s, filled=True))
    every = round(len(run.channels["light"]) / len(curves["light"]))
    assert np.array_equal(curves["cuff_mmHg"], run.channels["cuff_mmHg"][::every])
    assert len(curves["time_s"]) <= MOST_POINTS and curves["time_s"][1] == every * 0.001
    found = run_tracking(run)
    assert head["tracking"]["rms_mmHg"] == found.ideal.rms_mmHg
    assert head["tracking"]["systolic_mmHg"] == found.ideal_beats.systolic.mean_mmHg
    assert np.all(np.isnan(curves["error_mmHg"][curves["time_s"] < FILL_s - 0.01]))


def test_coarse_steps_stay_near_careful_ones(trace):
    rig = load_rig("wrist")
    (quick, coarse), (full, fine) = (strips_answer(rig, trace, Target(), quick=q) for q in (True, False))
    assert quick["steps"] < full["steps"]
    at = np.searchsorted(fine["time_s"], coarse["time_s"] - 1e-9)
    np.testing.assert_allclose(fine["time_s"][at], coarse["time_s"])
    assert np.max(np.abs(coarse["cuff_mmHg"] - fine["cuff_mmHg"][at])[len(at) // 10 :]) < 0.2


def test_a_volume_held_too_large_reads_low(trace):
    head, _ = strips_answer(load_rig("wrist"), trace, Target(volume_error=0.1), quick=True)
    true, _ = strips_answer(load_rig("wrist"), trace, Target(), quick=True)
    assert head["tracking"]["bias_mmHg"] < true["tracking"]["bias_mmHg"] - 1.0


def test_a_kernel_that_is_missing_is_not_compiled_but_pinned(trace, monkeypatch):
    long = load_rig("wrist", ["tube.length_m=1.0"])
    monkeypatch.setattr(kernel, "_AT_HAND", {kernel.run_layout(ready_of(asked()))})
    head, curves = strips_answer(long, trace, Target(), quick=True, pinned_sections=1)
    assert head["compile"] and head["pinned"] == 1 and head["run"] == "done" and len(curves["time_s"])
    head, curves = strips_answer(load_rig("wrist", ["tube.kind=none"]), trace, Target(), True, 1)
    assert head["run"] is None and "aside" in head["why"] and not curves


def test_what_cannot_clamp_has_no_run_but_says_why(trace):
    weak = load_rig("wrist", ["tissue.transmission=0.3", "supply.pressure_mmHg=100"])
    head, curves = strips_answer(weak, trace, Target(), True)
    assert head["run"] is None and head["why"] and not curves


def test_beats_are_found_once(trace):
    assert np.array_equal(onsets(trace), detect_beats(trace.pressure_mmHg, 0.001)) and onsets(trace) is onsets(trace)
