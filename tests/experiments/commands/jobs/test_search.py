"""`cuffloop search`: one finger, a record, a study; what it writes, what it refuses, and how it ends."""
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from calibrate.search.strategies import load_strategy
from experiments.commands.jobs.search import SearchOptions, check_alone, search_job
from experiments.front.search import USUAL_NUMBER, search
from experiments.rigs.rig import load_rig
from experiments.simulation.set_point import calibrate
from experiments.subjects.population import find_finger
from experiments.work.chunks import CHUNK, MANIFEST, Chunks
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.commands.jobs.command_line import files
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc


def test_one_finger(cuffloop, tmp_path):
    said = cuffloop("search", "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and f"mixed-1-{USUAL_NUMBER:04d}" in said.out
    assert files(tmp_path / "out") == ["search.json", "search.png"]
    written = json.loads((tmp_path / "out" / "search.json").read_text())
    assert written["found"] is True and written["provenance"]["seed"] == find_finger("mixed-1-0011").seed
    assert "not a medical device" in written["caution"]


@pytest.mark.parametrize("strategy", ["classroom", "arctangent", "waveform", "probing"])
def test_each_strategy_by_name(cuffloop, strategy):
    said = cuffloop("search", "--strategy", strategy, "--json")
    found = json.loads(said.out)
    most = 30.0 if strategy == "classroom" else 15.0
    assert said.status == 0 and found["strategy"] == strategy and abs(found["error_mmHg"]) < most


def test_a_failure_has_status_one(cuffloop, tmp_path):
    said = cuffloop("search", "--finger", "mixed-1-0003-loose_cuff", "--out", tmp_path / "out")
    assert said.status == 1 and "NO SET POINT" in said.out
    assert files(tmp_path / "out") == ["search.json", "search.png"]


def test_groups_and_seeds_name_the_finger(cuffloop):
    named = cuffloop("search", "--finger", "old-3-0011", "--json")
    chosen = cuffloop("search", "--group", "old", "--seed", "3", "--json")
    one, other = (json.loads(s.out) for s in (named, chosen))
    assert one["finger_or_record"]["name"] == "old-3-0011"
    assert {k: v for k, v in one.items() if k != "provenance"} == {k: v for k, v in other.items() if k != "provenance"}


def test_a_record_as_check_plays_it(wrist):
    trial = search(wrist, record="synthetic", seed=4).trial
    trace = synthesise(SyntheticPressure(), 1e-3, 30.0, 4)
    assert trial.name == "synthetic" and trial.calibration == calibrate(
        wrist, trace, load_strategy("probing").search, 4)


@pytest.mark.parametrize(("arguments", "words"), [
    (("--finger", "nobody"), "finger = 'nobody' is no name of a finger"),
    (("--finger", "mixed-1-0001", "--seed", "2"), "--finger and --seed: give only one of them"),
    (("--finger", "mixed-1-0001", "--group", "old"), "--finger and --group"),
    (("--record", "pig", "--finger", "mixed-1-0001"), "--record and --finger"),
    (("--record", "absent.csv"), "absent.csv"),
    (("--group", "tall"), "--group tall: use one of mixed"),
    (("--strategy", "best"), "strategy = 'best' is not known"),
    (("--strategy", "all"), "one at a time on one finger"),
    (("--strategy", "probing,classroom"), "add --fingers N"),
    (("--seed", "-1"), "--seed -1 must be from 0"),
    (("--substeps", "0"), "--substeps 0 must be from 1 to 1000"),
    (("--workers", "2"), "--workers belongs to a study: add --fingers N"),
    (("--cluster", "tcp://127.0.0.1:9"), "--cluster belongs to a study"),
    (("--spoiled", "2"), "--spoiled belongs to a study"),
    (("--fingers", "0"), "--fingers 0 must be from 1 to 100000"),
    (("--fingers", "5", "--spoiled", "-1"), "--spoiled -1 must be from 0"),
    (("--fingers", "5", "--workers", "0"), "--workers 0 must be from 1 to 256"),
    (("--fingers", "5", "--finger", "mixed-1-0001"), "--finger is for one finger"),
    (("--fingers", "5", "--record", "pig"), "--record is for one finger"),
    (("--fingers", "5", "--group", "tall"), "group = 'tall' is not known"),
    (("--fingers", "5", "--strategy", "probing,probing"), "named twice"),
])
def test_what_is_refused(refusal, tmp_path, arguments, words):
    assert words in refusal("search", *arguments, "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_study(cuffloop, tmp_path):
    arguments = ("search", "--fingers", "6", "--spoiled", "1", "--strategy", "classroom,arctangent", "--workers", "1")
    said = cuffloop(*arguments, "--keep", "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and "finished pieces in parts/" in said.out
    assert [f for f in files(tmp_path / "out") if "parts" not in f] == ["searches.json", "searches.nc", "searches.png"]
    again = cuffloop(*arguments, "--json")
    there = json.loads((tmp_path / "out" / "searches.json").read_text())
    assert {**json.loads(again.out), "provenance": 0} == {**there, "provenance": 0}
    other = cuffloop(*arguments, "--seed", "2", "--out", tmp_path / "out")
    assert other.status == 2 and "holds another study: its seed is 1, not 2" in other.err
    assert cuffloop(*arguments, "--out", tmp_path / "out").status == 0
    assert files(tmp_path / "out") == ["searches.json", "searches.nc", "searches.png"], "without --keep the parts go"


def test_steps_a_tick_are_kept_with_the_result(tmp_path):
    """On another rig as well, and one finger of it."""
    assert search_job(SearchOptions(
        rig="cabinet", fingers=1, strategy="classroom", substeps=6, workers=1, out=tmp_path, as_json=True)) == 0
    assert json.loads((tmp_path / "searches.json").read_text())["plan"]["substeps"] == 6
    assert search_job(SearchOptions(rig="cabinet", strategy="classroom", as_json=True)) == 0


def test_options_out_of_place():
    check_alone({"--finger": None}, "x")
    with pytest.raises(InputError, match="--finger is odd"):
        check_alone({"--record": None, "--finger": "a"}, "is odd")


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_ctrl_c_in_a_study_says_what_is_kept(tmp_path):
    """With two worker processes: one line, status 130, no process left behind, and the parts whole."""
    load_rig("wrist")
    start = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "  # a shell may have ignored it
             "import experiments.commands.main as c; c.main()")
    options = ("--fingers", "4000", "--strategy", "classroom", "--workers", "2", "--out", str(tmp_path / "out"))
    running = subprocess.Popen([sys.executable, "-c", start, "search", *options], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, start_new_session=True)
    while not list((tmp_path / "out" / "parts").glob("chunk-" + "?" * 20)) and running.poll() is None:
        time.sleep(0.02)
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does: parent and workers
    out, err = running.communicate(timeout=60)
    assert running.returncode == 130 and out == "" and err.startswith("cuffloop: interrupted; "), err
    assert "of 4000 fingers are done; the same command goes on from there" in err and err.count("\n") == 1
    assert not list((tmp_path / "out").glob("searches*"))
    parts = Chunks(tmp_path / "out" / "parts")
    names = [p.name for p in parts.path.iterdir() if p.name != MANIFEST]
    assert names and all(parts.read(name.removeprefix(CHUNK)) for name in names)
    with pytest.raises(ProcessLookupError):
        for _ in range(100):
            os.killpg(running.pid, 0)
            time.sleep(0.1)


@pytest.mark.parametrize(("words", "why"), [
    (("--firmware", "my.c", "--fingers", "3"), "--firmware is for one finger"),
    (("--firmware", "missing.c"), "--firmware missing.c: there is no such file"),
])
def test_a_firmware_that_cannot_be_asked(cuffloop, words, why):
    said = cuffloop("search", *words)
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""


@needs_gcc
def test_a_firmware_that_ends_is_a_finding_of_the_search(cuffloop, tmp_path):
    said = cuffloop("search", "--firmware", planted(tmp_path, "exit", tick=200))
    assert said.status == 1 and said.out.startswith("FINDING exit: the process ended itself with status 3")
    assert "NO SET POINT after 0.2 s: firmware ended" in said.out
