"""A comparison is whole whatever happens on the way: resumed after a kill it has the bits of one that ran through."""
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from experiments.calibration.schedule.measures import METRICS
from experiments.calibration.schedule.study import Plan, about, run_piece, run_study
from experiments.subjects.population import sample_fingers
from experiments.work.run import local
from plant import declare
from plant.errors import InputError

PLAN = Plan("wrist", (), "never,steady", ("quiet", "cold"), 3, "mixed", 1, 150.0)
SMALL = PLAN._replace(schedules="never", scenarios=("quiet",), number=1, seconds=60.0)
DRIVER = """
from pathlib import Path
import sys
from experiments.calibration.schedule.study import Plan, run_study
from experiments.work.run import local
if __name__ == "__main__":
    plan = Plan("wrist", (), "never,steady", ("quiet", "cold"), 3, "mixed", 1, 150.0)
    run_study(plan, Path(sys.argv[1]), local(2))
"""
MINE = ("from typing import NamedTuple\n\n\nclass Mine(NamedTuple):\n    def program(self, *_):\n"
        "        raise RuntimeError('no')\n        yield\n")


@pytest.fixture(scope="module")
def whole():
    return run_study(PLAN, None, local(1))


def kept(folder):
    return {p.name for p in folder.glob("chunk-" + "?" * 20)}


def same(one, other):
    np.testing.assert_array_equal(one.figures(), other.figures())
    for key, runs in one.runs.items():
        for a, b in zip(runs, other.runs[key], strict=True):
            np.testing.assert_array_equal(a.course, b.course)
            assert repr(a[2:]) == repr(b[2:])


def test_all_runs_are_there(whole):
    assert whole.figures().shape == (2, 2, 3, len(METRICS)) and set(whole.runs) == set(np.ndindex(2, 3))
    assert whole.steps == 2 and [f.name for f in whole.fingers] == ["mixed-1-0000", "mixed-1-0001", "mixed-1-0002"]
    assert whole.run(1, 0, 2) is whole.runs[0, 2][1] and [s.name for s in whole.schedules] == ["never", "steady"]


def test_a_unit_is_one_finger_in_one_scenario(whole):
    runs = run_piece(PLAN._replace(scenarios=(), number=0), ("cold", sample_fingers(3, "mixed", 1)[2]))
    for run, expected in zip(runs, whole.runs[1, 2], strict=True):
        np.testing.assert_array_equal(run.figures, expected.figures)


def test_two_workers_make_the_same_bits(whole):
    told = []
    same(whole, run_study(PLAN, None, local(2), told.append))
    assert told == sorted(told) and told[-1] == 1.0


def alive(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_killed_half_way_it_goes_on_to_the_same_bits(whole, tmp_path, monkeypatch):
    """SIGKILL as soon as the first file is there: workers end with their parent, files are whole, the rest is run."""
    monkeypatch.setattr(declare, "_outside_sources", set())  # parts that other tests loaded are not the other process's
    folder = tmp_path / "runs"
    process = subprocess.Popen([sys.executable, "-c", DRIVER, str(folder)], start_new_session=True,
                               env={**os.environ, "OPENBLAS_NUM_THREADS": "1"})
    limit = time.monotonic() + 120.0
    while not kept(folder) and time.monotonic() < limit:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    while alive(process.pid) and time.monotonic() < limit:
        time.sleep(0.05)
    assert not alive(process.pid)
    left = len(kept(folder))
    assert 1 <= left < 6
    told = []
    same(whole, run_study(PLAN, folder, local(1), told.append))
    assert len(told) == 1 + 6 - left and len(kept(folder)) == 6
    again = []
    same(whole, run_study(PLAN, folder, local(2), again.append))
    assert again == [1.0]


def test_more_fingers_and_scenarios_use_what_is_there(tmp_path):
    run_study(SMALL, tmp_path, local(1))
    told = []
    run_study(SMALL._replace(number=2, scenarios=("cold", "quiet")), tmp_path, local(1), told.append)
    assert told[0] == 0.25 and len(told) == 4


def test_a_folder_of_another_study_is_refused(tmp_path):
    run_study(SMALL, tmp_path, local(1))
    others = {
        "minutes": SMALL._replace(seconds=120.0), "seed": SMALL._replace(seed=2), "group": SMALL._replace(group="old"),
        "schedules": SMALL._replace(schedules="never,steady"), "rig": SMALL._replace(rig="cabinet"),
        "the rig's parameters": SMALL._replace(settings=("tube.length_m=0.06",)),
    }
    for key, other in others.items():
        with pytest.raises(InputError, match=f"holds another study: its {key} is "):
            run_study(other, tmp_path, local(1))
    told = []
    run_study(SMALL, tmp_path, local(1), told.append)
    assert told == [1.0]


@pytest.mark.parametrize("workers", [1, 2])
def test_a_schedule_of_ones_own_runs_in_every_process(tmp_path, workers):
    (tmp_path / "mine.py").write_text(MINE, encoding="utf-8")
    own = SMALL._replace(schedules="mine.py:Mine", folder=str(tmp_path), number=3, seconds=30.0)
    study = run_study(own, None, local(workers))
    assert {runs[0].ended for runs in study.runs.values()} == {"broke: RuntimeError: no"}


def test_an_edited_file_of_ones_own_is_another_schedule(tmp_path):
    mine = tmp_path / "mine.py"
    mine.write_text(MINE, encoding="utf-8")
    own = SMALL._replace(schedules="never,mine.py:Mine", folder=str(tmp_path))
    before = about(own)
    mine.write_text(MINE + "# edited\n", encoding="utf-8")
    assert {key for key, value in about(own).items() if before[key] != value} == {"own schedules"}
    assert before["own schedules"][0] == "" and before == before | {"schedules": ["never", "Mine"]}


def test_a_cuff_that_does_not_fit_is_said_before():
    with pytest.raises(InputError, match="group"):
        run_study(PLAN._replace(group="giants"), None, local(1))
