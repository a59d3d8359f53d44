"""Runs side by side are handed over as `simulate` returns them: channels, status, message and last state."""
import numpy as np
import pytest

from controller.tick.law import design
from experiments.rigs.rig import load_rig
from experiments.simulation import recorded as module
from experiments.simulation.many import finger_ready
from experiments.simulation.recorded import FEW, RECORDED, recorded_runs
from experiments.simulation.simulate import Plan, run_ready
from experiments.subjects.population import sample_fingers

PLAN = Plan(0.3, 0.2)


def runs_of(rig, gains, seconds=1.5, substeps=None):
    """One run a gain, each on a finger of its own."""
    made = []
    for finger, gain in zip(sample_fingers(len(gains)), gains, strict=True):
        ready = finger_ready((rig, finger), seconds, PLAN, substeps)
        controller = rig.controller._replace(kp=rig.controller.kp * gain)
        firmware = ready.loop.firmware._replace(coefficients=design(controller, rig.timing.period_s))
        loop = ready.loop._replace(firmware=firmware)
        made.append(ready._replace(rig=ready.rig._replace(controller=controller), loop=loop))
    return made


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_each_is_its_run_alone(name):
    """Gains from too low to unstable: done and saturated."""
    runs = runs_of(load_rig(name), [0.5, 1.0, 1.5, 20.0, 60.0])
    found = dict(recorded_runs(runs))
    assert sorted(found) == list(range(5))
    for number, run in found.items():
        alone = run_ready(runs[number])
        assert (run.status, run.message, run.substeps, run.seed) == (
            alone.status, alone.message, alone.substeps, alone.seed)
        assert (run.rig, run.trace, run.coefficients) == (alone.rig, runs[number].trace, alone.coefficients)
        for channel in ("arterial_mmHg", "mode", *RECORDED):
            np.testing.assert_allclose(run.channels[channel], alone.channels[channel], rtol=0.0, atol=1e-9)
        np.testing.assert_array_equal(run.counted, alone.counted)
        np.testing.assert_allclose(run.ideal_mmHg, alone.ideal_mmHg, rtol=0.0, atol=1e-9)
        assert run.final.tick == alone.final.tick and run.final.plant == alone.final.plant
    assert {"done", "saturated"} <= {run.status for run in found.values()}


def test_one_that_diverges_is_cut_there():
    """Too few steps for a fast photodiode: it runs away, and its neighbours do not mind."""
    runs = runs_of(load_rig("wrist"), [1.0] * 4, 0.8, 4)
    runs[2] = runs_of(load_rig("wrist", ["light.bandwidth_Hz=5000"]), [1.0] * 3, 0.8, 4)[2]
    found = dict(recorded_runs(runs))
    alone = run_ready(runs[2])
    assert [found[i].status == "diverged" for i in range(4)] == [False, False, True, False]
    assert found[2].message == alone.message and "lower controller.kp" in alone.message
    np.testing.assert_array_equal(found[2].channels["cuff_mmHg"], alone.channels["cuff_mmHg"])


def test_few_run_alone(monkeypatch):
    """Fewer than a vector is worth, and those with a part that was written for one finger."""
    def never(*_):
        raise AssertionError("side by side")

    monkeypatch.setattr(module, "side_by_side", never)
    runs = runs_of(load_rig("wrist"), [1.0] * (FEW - 1), 0.8)
    assert [number for number, _ in recorded_runs(runs)] == list(range(FEW - 1))
    monkeypatch.setattr(module, "side_by_side", lambda *_: None)
    runs = runs_of(load_rig("wrist"), [1.0] * (FEW + 1), 0.8)
    for number, run in recorded_runs(runs):
        assert run.channels["cuff_mmHg"].tobytes() == run_ready(runs[number]).channels["cuff_mmHg"].tobytes()
        assert len(run.channels) > len(RECORDED) + 2  # of the run alone
