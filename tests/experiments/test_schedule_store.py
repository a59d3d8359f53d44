"""Finished runs on disk: they come back as they were, never half, and never among runs of other settings."""
import json
import shutil
from typing import Any

import numpy as np
import pytest

from experiments import schedule_store
from experiments.schedule_metrics import METRICS
from experiments.schedule_run import ScheduleRun
from experiments.schedule_store import SETTINGS, TOP, RunStore, program_digest, save_runs, shaping_files
from plant.errors import InputError

SETTING = {"rig": "wrist", "minutes": "20"}


def made(seed: int, bins: int = 4, **changes: Any) -> ScheduleRun:
    rng = np.random.default_rng(seed)
    figures = rng.normal(size=len(METRICS))
    figures[3] = np.nan
    run = ScheduleRun(figures, rng.normal(size=(3, bins)).astype(np.float32), "in time", {"no pulse": 2},
                      ((30.0, "cold begins"),), ((0.25, "search", float("nan"), "start"),))
    return run._replace(**changes)


def same(one: ScheduleRun, other: ScheduleRun) -> bool:
    return (np.array_equal(one.figures, other.figures, equal_nan=True) and np.array_equal(one.course, other.course)
            and one.course.dtype == other.course.dtype and repr(one[2:]) == repr(other[2:]))


def test_runs_come_back_as_they_were(tmp_path):
    """Also where one was over before its time, and where words are not plain ASCII."""
    runs = [made(1), made(2, bins=2, ended="gave up: ± µ", failures={}, marks=(), diary=())]
    RunStore(tmp_path / "runs", SETTING).save("cold", "mixed-1-0000", runs)
    found = RunStore(tmp_path / "runs", dict(SETTING)).load("cold", "mixed-1-0000")
    assert found is not None and len(found) == 2 and all(map(same, runs, found))
    assert sorted(p.name for p in (tmp_path / "runs").iterdir()) == ["cold_mixed-1-0000.npz", SETTINGS]


def test_what_is_not_there_or_damaged_counts_as_missing(tmp_path):
    store = RunStore(tmp_path, SETTING)
    assert store.load("cold", "mixed-1-0000") is None
    store.save("cold", "mixed-1-0000", [made(1)])
    path = store.path("cold", "mixed-1-0000")
    whole = path.read_bytes()
    for damaged in (b"", whole[: len(whole) // 2], whole[:100] + b"?" * 50 + whole[150:], b"not a zip file"):
        path.write_bytes(damaged)
        assert store.load("cold", "mixed-1-0000") is None
    path.write_bytes(whole)
    assert store.load("cold", "mixed-1-0000") is not None


def test_nothing_half_written_stays(tmp_path, monkeypatch):
    def break_off(file: Any, **arrays: Any) -> None:
        file.write(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr(schedule_store.np, "savez_compressed", break_off)
    with pytest.raises(KeyboardInterrupt):
        save_runs(tmp_path / "cold_x.npz", [made(1)])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("settings", "words"), [
    ({**SETTING, "minutes": "60"}, "minutes: '20' there, '60' now"),
    ({"rig": "wrist"}, "minutes: '20' there, '' now"),
    ({**SETTING, "schedule Mine": "Mine(1)"}, "schedule Mine: '' there, 'Mine(1)' now"),
])
def test_a_folder_of_other_settings_is_refused(tmp_path, settings, words):
    RunStore(tmp_path, SETTING).save("cold", "f", [made(1)])
    with pytest.raises(InputError) as end:
        RunStore(tmp_path, settings)
    assert words in str(end.value) and "\n" not in str(end.value)
    assert json.loads((tmp_path / SETTINGS).read_text(encoding="utf-8")) == SETTING
    assert RunStore(tmp_path, SETTING).load("cold", "f") is not None


@pytest.mark.parametrize(("content", "words"), [(None, "without settings.json"), ("[1]", "no settings"),
                                                ("{", "cannot be read")])
def test_a_folder_of_unknown_settings_is_refused(tmp_path, content, words):
    RunStore(tmp_path, SETTING).save("cold", "f", [made(1)])
    (tmp_path / SETTINGS).unlink()
    if content is not None:
        (tmp_path / SETTINGS).write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        RunStore(tmp_path, SETTING)


def test_a_place_that_is_no_folder_is_refused(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="file"):
        RunStore(tmp_path / "file" / "runs", SETTING)
    with pytest.raises(InputError, match="cannot be written"):
        save_runs(tmp_path / "nowhere" / "a.npz", [made(1)])


def test_the_files_that_shape_a_run():
    """Those whose edit must not go unnoticed are among them, and what only draws or prints is not."""
    names = {str(path.relative_to(TOP)) for path in shaping_files()}
    assert names >= {
        "plant/artery.py", "plant/noise.py", "controller/law.py", "controller/firmware.py", "calibrate/schedules.py",
        "calibrate/steady_probing.py", "calibrate/drift_signs.py", "calibrate/recalibration.py", "calibrate/display.py",
        "calibrate/probing_search.py", "experiments/coupled.py", "experiments/session.py", "experiments/scenarios.py",
        "experiments/scenario_parts.py", "experiments/spreads.py", "experiments/schedule_metrics.py",
    }
    assert not {n for n in names if "figure" in n or "command" in n or "report" in n}


def test_an_edit_is_another_version(tmp_path, monkeypatch):
    """Of a file of the rooms, and of one of the user's own."""
    mine = tmp_path / "mine.py"
    mine.write_text("A = 1\n", encoding="utf-8")
    before, with_mine = program_digest(), program_digest([mine])
    mine.write_text("A = 2\n", encoding="utf-8")
    assert len({before, with_mine, program_digest([mine])}) == 3 and program_digest() == before
    for room in ("plant", "controller", "calibrate", "experiments"):
        shutil.copytree(TOP / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(schedule_store, "TOP", tmp_path)
    assert program_digest() == before
    with (tmp_path / "plant" / "vein.py").open("a", encoding="utf-8") as file:
        file.write("# edited\n")
    assert program_digest() != before
