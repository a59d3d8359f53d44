"""A study in chunks: the same bits whatever the workers, resumed when interrupted, refused when it does not fit."""
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from experiments import search_study
from experiments.population import find_finger
from experiments.search_study import CHUNK, PARTS, SETTINGS, chunks_of, code_digest, run_study, settings_of
from experiments.search_unit import Plan
from plant import declare
from plant.errors import InputError

PLAN = Plan("wrist", (), ("classroom",), "mixed", 1, CHUNK + 2, 1, 5)


@pytest.fixture(scope="module")
def rows():
    return run_study(PLAN)


def names(parts):
    return sorted(p.name for p in parts.iterdir())


def test_chunks_hold_every_finger_once():
    chunks = chunks_of(PLAN._replace(fingers=9, spoiled=5))
    assert [c.name for c in chunks] == [
        "measurable-000000-4", "measurable-000004-4", "measurable-000008-1",
        *(f"{d}-{first}" for d in ("no_pulse", "light_saturated", "loose_cuff") for first in ("000000-4", "000004-1"))]
    fingers = [f for c in chunks for f in c.fingers]
    assert len({f.name for f in fingers}) == len(fingers) == 9 + 15
    assert all(find_finger(f.name) == f for f in (fingers[0], fingers[8], fingers[-1]))


def test_one_row_for_each_finger_and_strategy(rows):
    assert [r.finger for r in rows[:3]] == ["mixed-1-0000", "mixed-1-0001", "mixed-1-0002"]
    assert len(rows) == CHUNK + 2 + 3 and [r.defect for r in rows[-3:]] == ["no_pulse", "light_saturated", "loose_cuff"]


def test_same_bits_with_two_workers_and_from_files(rows, tmp_path):
    """Three ways to the same rows; the third one reads what the second one kept, and reports all of it as done."""
    assert repr(run_study(PLAN, tmp_path, workers=2)) == repr(rows)
    assert names(tmp_path / PARTS) == sorted([SETTINGS, *(f"{c.name}.json" for c in chunks_of(PLAN))])
    told = []
    assert repr(run_study(PLAN, tmp_path, progress=told.append)) == repr(rows) and told == []


class Stop:
    """Progress that interrupts once a share is done."""

    def __init__(self, after):
        self.after, self.told = after, []

    def __call__(self, share):
        self.told.append(share)
        if share >= self.after:
            raise KeyboardInterrupt


def test_interrupted_and_resumed(rows, tmp_path):
    with pytest.raises(KeyboardInterrupt, match=r"4 of 9 fingers are kept in .*; the same command goes on from there"):
        run_study(PLAN, tmp_path, progress=Stop(0.3))
    first = tmp_path / PARTS / "measurable-000000-4.json"
    kept = first.stat().st_mtime_ns
    (tmp_path / PARTS / "measurable-000004-2.json").write_text("[[1, 2")  # half a file, as nothing here leaves behind
    go_on = Stop(9.0)
    assert repr(run_study(PLAN, tmp_path, progress=go_on)) == repr(rows)
    assert first.stat().st_mtime_ns == kept and go_on.told[0] > 0.5 and go_on.told[-1] == 1.0


def test_interrupted_without_a_folder():
    with pytest.raises(KeyboardInterrupt) as stop:
        run_study(PLAN, progress=Stop(0.0))
    assert str(stop.value) == ""


def test_more_fingers_use_what_is_there(rows, tmp_path):
    run_study(PLAN._replace(fingers=CHUNK), tmp_path)
    told = Stop(9.0)
    assert repr(run_study(PLAN, tmp_path, progress=told)) == repr(rows)
    assert len(told.told) == 1  # only the chunk that was not there


@pytest.mark.parametrize(("change", "word"), [
    ({"seed": 2}, "seed"), ({"group": "old"}, "group"), ({"substeps": 6}, "substeps"), ({"rig": "cabinet"}, "rig"),
    ({"strategies": ("arctangent",)}, "strategies"), ({"settings": ("tube.length_m=0.1",)}, "rig"),
])
def test_parts_of_another_study_are_refused(rows, tmp_path, monkeypatch, change, word):
    monkeypatch.setattr(search_study, "_worked", lambda plan, chunks, workers: ((c, []) for c in chunks))
    run_study(PLAN, tmp_path)
    before = names(tmp_path / PARTS)
    with pytest.raises(InputError, match=rf"--out .*: holds parts of another study \(other {word}\); name another"):
        run_study(PLAN._replace(**change), tmp_path)
    (tmp_path / PARTS / SETTINGS).write_text("3")
    with pytest.raises(InputError, match="holds parts of another study"):
        run_study(PLAN, tmp_path)
    assert names(tmp_path / PARTS) == before


def test_another_version_of_the_code_is_another_study(monkeypatch, tmp_path):
    monkeypatch.setattr(search_study, "_worked", lambda plan, chunks, workers: ((c, []) for c in chunks))
    run_study(PLAN, tmp_path)
    monkeypatch.setattr(search_study, "code_digest", lambda: "other")
    with pytest.raises(InputError, match="other code"):
        run_study(PLAN, tmp_path)


def test_the_code_counts_but_its_looks_do_not(monkeypatch):
    before = code_digest()
    assert before == code_digest() and len(before) == 20
    monkeypatch.setattr(search_study, "LOOKS_ONLY", (*search_study.LOOKS_ONLY, "staircase.py"))
    assert code_digest() != before  # so the staircase counts
    json.dumps(settings_of(PLAN))


def test_a_search_that_fails_by_itself_stops_the_study_in_one_line(tmp_path):
    (tmp_path / "mine.py").write_text(
        "from typing import NamedTuple\nfrom calibrate.protocol import Hold\nclass Mine(NamedTuple):\n"
        "    def search(self, instrument):\n        yield Hold(90.0, 1.0)\n        raise ValueError('no idea')\n")
    spec = f"{tmp_path}/mine.py:Mine"
    with pytest.raises(InputError, match=r"ValueError in line 6 of mine\.py: no idea"):
        run_study(PLAN._replace(strategies=(spec,)), tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_killed_and_resumed(rows, tmp_path, monkeypatch):
    """After SIGKILL whatever was finished is there, whole, and the study ends with the same rows."""
    monkeypatch.setattr(declare, "_outside_sources", set())  # parts that other tests loaded are not the other process's
    code = ("from pathlib import Path\nfrom experiments.search_study import run_study\n"
            "from experiments.search_unit import Plan\n"
            f"run_study(Plan('wrist', (), ('classroom',), 'mixed', 1, 4000, 1, 5), Path({str(tmp_path)!r}))")
    running = subprocess.Popen([sys.executable, "-c", code])
    first = tmp_path / PARTS / "measurable-000000-4.json"
    while not first.exists() and running.poll() is None:
        time.sleep(0.02)
    running.send_signal(signal.SIGKILL)
    running.wait(timeout=60)
    kept = first.stat().st_mtime_ns
    assert repr(run_study(PLAN, tmp_path)) == repr(rows) and first.stat().st_mtime_ns == kept
