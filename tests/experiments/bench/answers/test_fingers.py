"""Each finger is judged as it would be alone, and a gain alone leaves its plant as it was."""
import numpy as np
import pytest

from experiments.bench.answers import fingers as module
from experiments.bench.answers.fingers import COUNT, PLAN, RUN_s, cohort, fingers, judged, run_all
from experiments.bench.answers.strips import COARSE_STEPS
from experiments.check.judged import judge_loops
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import mean_pressure, prepare, run_ready
from experiments.subjects.finger import finger_pressure, on_finger
from tests.experiments.bench.helper import asked


@pytest.mark.parametrize("kp", [0.0218, 0.05])
def test_a_margin_is_that_of_the_rig_on_this_finger(kp):
    rig, finger = load_rig("wrist", [f"controller.kp={kp}"]), cohort()[3]
    mean = mean_pressure(finger_pressure(finger, 0.001, RUN_s))
    alone = min(j.margins.modulus_margin for j in judge_loops(on_finger(rig, finger), {"mean": mean}))
    assert judged(rig, finger).modulus_margin == alone


def test_margins_come_first_and_all_fingers_have_a_row_and_a_trace():
    *some, last = fingers(asked())
    counts = [len(answer.head["fingers"]) for answer in some]
    assert counts == sorted(counts) and counts[-1] == COUNT and not some[0].arrays
    rows = last.head["fingers"]
    assert len({row["name"] for row in rows}) == COUNT and all(row["status"] for row in rows if not row["why"])
    assert len(last.arrays["cuff_mmHg"]) == len(last.arrays["ideal_mmHg"])
    assert len(last.arrays["cuff_mmHg"]) % COUNT == 0
    shares = [row["modulus_margin"] >= 0.5 for row in rows]
    assert 0.5 < np.mean(shares) <= 1.0


def test_a_run_is_the_fingers_own():
    rig, finger = load_rig("wrist"), cohort()[0]
    run = run_all(rig, (finger,))[0]
    trace = finger_pressure(finger, 0.001, RUN_s)
    alone = run_ready(prepare(on_finger(rig, finger), trace, PLAN, finger.seed, COARSE_STEPS))
    assert np.array_equal(run.channels["cuff_mmHg"], alone.channels["cuff_mmHg"])


def test_a_finger_that_cannot_be_clamped_says_why():
    weak = load_rig("wrist", ["supply.pressure_mmHg=100"])
    found = [judged(weak, finger) for finger in cohort()[:8]]
    assert any(row.why for row in found) and all(np.isnan(row.modulus_margin) for row in found if row.why)


def test_what_is_kept_does_not_grow_without_end(monkeypatch):
    monkeypatch.setattr(module, "COUNT", 1)
    for volume in (2.0, 2.1, 2.2, 2.3, 2.4, 2.5):
        judged(load_rig("wrist", [f"cuff.volume_mL={volume}"]), cohort()[0])
        assert len(module._KEPT) <= 4
