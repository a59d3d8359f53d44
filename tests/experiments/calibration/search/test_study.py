"""A study over fingers: the same bits whatever the workers, resumed when interrupted, refused when it does not fit."""
import os
import signal
import subprocess
import sys
import time

import pytest

from experiments.calibration.search.piece import Plan
from experiments.calibration.search.study import PARTS, about, fingers_of, run_piece, run_study
from experiments.subjects.population import find_finger
from experiments.work.run import local
from plant import declare
from plant.errors import InputError

PLAN = Plan("wrist", (), ("classroom",), "mixed", 1, 6, 1, 5)


@pytest.fixture(scope="module")
def rows():
    return run_study(PLAN).rows


def kept(folder):
    return sorted(p.name for p in (folder / PARTS).glob("chunk-" + "?" * 20))


def test_every_finger_once():
    fingers = fingers_of(PLAN._replace(fingers=9, spoiled=5))
    assert [f.defect for f in fingers] == [""] * 9 + ["no_pulse"] * 5 + ["light_saturated"] * 5 + ["loose_cuff"] * 5
    assert len({f.name for f in fingers}) == 24
    assert all(find_finger(f.name) == f for f in (fingers[0], fingers[8], fingers[-1]))


def test_one_row_for_each_finger_and_strategy(rows):
    assert [r.finger for r in rows[:3]] == ["mixed-1-0000", "mixed-1-0001", "mixed-1-0002"]
    assert len(rows) == 6 + 3 and [r.defect for r in rows[-3:]] == ["no_pulse", "light_saturated", "loose_cuff"]
    two = run_piece(PLAN._replace(strategies=("classroom", "arctangent")), find_finger("mixed-1-0001"))
    assert [r.strategy for r in two] == ["classroom", "arctangent"] and repr(two[0]) == repr(rows[1])


def test_same_bits_with_two_workers_and_from_files(rows, tmp_path):
    """Three ways to the same rows; the third one reads what the second one kept, and reports all of it as done."""
    assert repr(run_study(PLAN, tmp_path, local(2)).rows) == repr(rows)
    assert len(kept(tmp_path)) == 9
    told = []
    assert repr(run_study(PLAN, tmp_path, local(1), told.append).rows) == repr(rows) and told == [1.0]


def test_interrupted_and_resumed(rows, tmp_path):
    def stop(share):
        if share >= 0.3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt, match=r"3 of 9 fingers are done; the same command goes on from there"):
        run_study(PLAN, tmp_path, local(1), stop)
    first, second, _ = kept(tmp_path)
    before = (tmp_path / PARTS / first).stat().st_mtime_ns
    (tmp_path / PARTS / second).write_text("half a file, as nothing here leaves behind")
    told = []
    assert repr(run_study(PLAN, tmp_path, local(1), told.append).rows) == repr(rows)
    assert (tmp_path / PARTS / first).stat().st_mtime_ns == before and len(told) == 8 and told[-1] == 1.0


def test_more_fingers_use_what_is_there(rows, tmp_path):
    run_study(PLAN._replace(fingers=4), tmp_path)
    told = []
    assert repr(run_study(PLAN, tmp_path, local(1), told.append).rows) == repr(rows)
    assert told[0] == 7 / 9 and len(told) == 3  # only the two that were not there


@pytest.mark.parametrize(("change", "word"), [
    ({"seed": 2}, "seed"), ({"group": "old"}, "group"), ({"substeps": 6}, "steps a tick"), ({"rig": "cabinet"}, "rig"),
    ({"strategies": ("arctangent",)}, "strategies"), ({"settings": ("tube.length_m=0.1",)}, "settings"),
])
def test_parts_of_another_study_are_refused(tmp_path, change, word):
    one = PLAN._replace(fingers=1, spoiled=0)
    run_study(one, tmp_path)
    before = kept(tmp_path)
    with pytest.raises(InputError, match=rf"holds another study: its {word} is .*; name another folder"):
        run_study(one._replace(**change), tmp_path)
    assert kept(tmp_path) == before


def test_a_file_that_was_edited_is_another_rig_or_strategy(tmp_path):
    """By their names nothing has changed."""
    rig, mine = tmp_path / "mine.toml", tmp_path / "mine.py"
    rig.write_text('name = "mine"\nbase = "wrist"\n')
    mine.write_text("class Mine:\n    pass\n")
    plan = PLAN._replace(rig=str(rig), strategies=(f"{mine}:Mine",))
    before = about(plan)
    assert about(plan) == before
    rig.write_text('name = "mine"\nbase = "wrist"\n[tube]\nlength_m = 0.06\n')
    mine.write_text(mine.read_text() + "# edited\n")
    assert {key for key, value in about(plan).items() if before[key] != value} == {
        "the rig's parameters", "own strategies"}


def test_a_search_that_fails_by_itself_stops_the_study_in_one_line(tmp_path):
    (tmp_path / "mine.py").write_text(
        "from typing import NamedTuple\nfrom calibrate.protocol import Hold\nclass Mine(NamedTuple):\n"
        "    def search(self, instrument):\n        yield Hold(90.0, 1.0)\n        raise ValueError('no idea')\n")
    spec = f"{tmp_path}/mine.py:Mine"
    with pytest.raises(InputError, match=r"ValueError in line 6 of mine\.py: no idea"):
        run_study(PLAN._replace(strategies=(spec,)), tmp_path / "out")
    assert not (tmp_path / "out" / PARTS).exists()


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_killed_and_resumed(rows, tmp_path, monkeypatch):
    """After SIGKILL whatever was finished is there, whole, and the study ends with the same rows."""
    monkeypatch.setattr(declare, "_outside_sources", set())  # parts that other tests loaded are not the other process's
    code = ("from pathlib import Path\nfrom experiments.calibration.search.study import run_study\n"
            "from experiments.calibration.search.piece import Plan\nfrom experiments.work.run import local\n"
            f"run_study(Plan('wrist', (), ('classroom',), 'mixed', 1, 4000, 1, 5), Path({str(tmp_path)!r}), local(1))")
    running = subprocess.Popen([sys.executable, "-c", code])
    while len(kept(tmp_path)) < 2 and running.poll() is None:
        time.sleep(0.02)
    running.send_signal(signal.SIGKILL)
    running.wait(timeout=60)
    told = []
    assert repr(run_study(PLAN, tmp_path, local(1), told.append).rows) == repr(rows) and told[0] >= 2 / 9
