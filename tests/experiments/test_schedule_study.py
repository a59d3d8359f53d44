"""A comparison is whole whatever happens on the way: resumed after a kill it has the bits of one that ran through."""
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from experiments.rig import load_rig
from experiments.schedule_metrics import METRICS
from experiments.schedule_names import find_schedules
from experiments.schedule_study import StudyPlan, run_study
from plant.errors import InputError

DRIVER = """
from pathlib import Path
import sys
from experiments.rig import load_rig
from experiments.schedule_names import find_schedules
from experiments.schedule_study import StudyPlan, run_study
if __name__ == "__main__":
    plan = StudyPlan(load_rig("wrist"), find_schedules("never,steady", Path()), ("quiet", "cold"), 3, "mixed", 1, 150.0)
    run_study(plan, 2, Path(sys.argv[1]))
"""


@pytest.fixture(scope="module")
def plan():
    return StudyPlan(load_rig("wrist"), find_schedules("never,steady", Path()), ("quiet", "cold"), 3, "mixed", 1, 150.0)


@pytest.fixture(scope="module")
def whole(plan):
    return run_study(plan, 1)


def same(one, other):
    np.testing.assert_array_equal(one.figures(), other.figures())
    for key, runs in one.runs.items():
        for a, b in zip(runs, other.runs[key], strict=True):
            np.testing.assert_array_equal(a.course, b.course)
            assert repr(a[2:]) == repr(b[2:])


def test_all_runs_are_there(plan, whole):
    assert whole.figures().shape == (2, 2, 3, len(METRICS)) and set(whole.runs) == set(np.ndindex(2, 3))
    assert whole.reused == 0 and whole.steps == 2 and [f.name for f in whole.fingers] == [
        "mixed-1-0000", "mixed-1-0001", "mixed-1-0002"
    ]
    assert whole.run(1, 0, 2) is whole.runs[0, 2][1]


def test_two_workers_make_the_same_bits(plan, whole):
    told = []
    same(whole, run_study(plan, 2, progress=told.append))
    assert told == sorted(told) and told[-1] <= 1.0


def alive(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_killed_half_way_it_goes_on_to_the_same_bits(plan, whole, tmp_path):
    """SIGKILL as soon as the first file is there: workers end with their parent, files are whole, the rest is run."""
    kept = tmp_path / "runs"
    process = subprocess.Popen([sys.executable, "-c", DRIVER, str(kept)], start_new_session=True,
                               env={**os.environ, "OPENBLAS_NUM_THREADS": "1"})
    limit = time.monotonic() + 120.0
    while not list(kept.glob("*.npz")) and time.monotonic() < limit:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    while alive(process.pid) and time.monotonic() < limit:
        time.sleep(0.05)
    assert not alive(process.pid)
    left = len(list(kept.glob("*.npz")))
    assert 1 <= left < 6
    (kept / "cold_mixed-1-0002.npz.part").write_bytes(b"half a file")
    study = run_study(plan, 1, kept)
    assert study.reused == 2 * left
    same(whole, study)
    same(whole, run_study(plan, 2, kept))
    assert run_study(plan, 1, kept).reused == 12


def test_a_folder_of_other_settings_is_refused(plan, tmp_path):
    one = plan._replace(schedules=plan.schedules[:1], scenarios=("quiet",), number=1, seconds=60.0)
    run_study(one, 1, tmp_path)
    others = {
        "minutes": one._replace(seconds=120.0), "seed": one._replace(seed=2), "fingers": one._replace(number=2),
        "group": one._replace(group="old"), "scenarios": one._replace(scenarios=("cold",)),
        "schedules": one._replace(schedules=plan.schedules),
        "rig's parameters": one._replace(rig=load_rig("wrist", ["tube.length_m=0.06"])),
        "schedule never": one._replace(schedules=(one.schedules[0]._replace(schedule=plan.schedules[1].schedule),)),
    }
    for key, other in others.items():
        with pytest.raises(InputError) as end:
            run_study(other, 1, tmp_path)
        assert f"({key}: " in str(end.value), key
    assert run_study(one, 1, tmp_path).reused == 1


def test_settings_tell_the_program_and_a_file_of_ones_own(plan, tmp_path):
    mine = tmp_path / "mine.py"
    mine.write_text("from typing import NamedTuple\n\n\nclass Mine(NamedTuple):\n    def program(self, *_):\n"
                    "        raise RuntimeError('no')\n        yield\n", encoding="utf-8")
    schedules = find_schedules("mine.py:Mine", tmp_path)
    own = plan._replace(schedules=schedules, scenarios=("quiet",), number=1, seconds=30.0)
    before = own.settings()
    assert before["program"] != plan.settings()["program"]
    assert run_study(own, 2).run(0, 0, 0).ended == "broke: RuntimeError: no"
    mine.write_text(mine.read_text(encoding="utf-8") + "# edited\n", encoding="utf-8")
    assert own.settings()["program"] != before["program"]


def test_a_cuff_that_does_not_fit_is_said_before(plan):
    with pytest.raises(InputError, match="group"):
        run_study(plan._replace(group="giants"), 1)
