"""`cuffloop schedules`: what it prints and writes, what it refuses, and that it goes on from where it was."""
import json
import os
import signal
import subprocess
import sys
import time

import pytest
import xarray

from experiments.front.schedules import FULL_SCENARIOS, USUAL_SCENARIOS

SMALL = ("schedules", "wrist", "--schedules", "never,steady", "--scenarios", "cold", "--fingers", "2", "--minutes", "2",
         "--workers", "1", "--keep")


@pytest.fixture(scope="module")
def small(cuffloop, tmp_path_factory):
    out = tmp_path_factory.mktemp("schedules") / "out"
    return cuffloop(*SMALL, "--out", out), out


def test_the_table_and_the_files(small):
    said, out = small
    assert said.status == 0 and said.err == ""
    assert "wrist: 2 schedules × 1 scenarios × 2 fingers (mixed, seed 1), 2 min each" in said.out
    assert all(word in said.out for word in ("never", "steady", "rms", "lost", "gaps/h", "back"))
    assert "schedules.json, frontier.png, one_finger.png, schedules.nc" in said.out
    assert sorted(p.name for p in out.iterdir()) == [
        "frontier.png", "one_finger.png", "runs", "schedules.json", "schedules.nc"
    ]
    assert len(list((out / "runs").glob("chunk-*"))) == 2
    document = json.loads((out / "schedules.json").read_text(encoding="utf-8"))
    assert document["scenarios"] == ["cold"] and document["provenance"]["seed"] == 1
    assert "not a medical device" in document["caution"]
    with xarray.open_dataset(out / "schedules.nc", engine="scipy") as data:
        assert dict(data.sizes)["finger"] == 2


def test_again_it_is_there_at_once_and_the_same(cuffloop, small):
    """Also with --json, which is all that is printed then."""
    _said, out = small
    before = json.loads((out / "schedules.json").read_text(encoding="utf-8"))
    again = cuffloop(*SMALL, "--out", out, "--json")
    document = json.loads(again.out)
    assert again.err == "" and document["rows"] == before["rows"]


def test_without_a_folder_nothing_is_written(cuffloop, tmp_path, monkeypatch, small):
    monkeypatch.chdir(tmp_path)
    said = cuffloop(*SMALL)
    assert said.status == 0 and list(tmp_path.iterdir()) == []
    assert said.out.splitlines()[:8] == small[0].out.splitlines()[:8]


def test_another_study_is_refused_the_folder(refusal, small):
    line = refusal(*SMALL[:-5], "--minutes", "3", "--out", small[1])
    assert "holds another study: its minutes is 2.0, not 3.0" in line
    assert "rig's parameters" in refusal(*SMALL, "--set", "controller.kp=0.008", "--out", small[1])


@pytest.mark.parametrize(("arguments", "words"), [
    (("--fingers", "0"), "--fingers 0 must be from 1"),
    (("--minutes", "0.5"), "--minutes 0.5 must be from 1 to 120 min"),
    (("--minutes", "nan"), "--minutes nan"),
    (("--minutes", "120", "--set", "timing.period_s=0.0005"), "more than one run can hold"),
    (("--seed", "-1"), "--seed -1"),
    (("--workers", "0"), "--workers 0"),
    (("--workers", "9999"), "--workers 9999"),
    (("--group", "giants"), "'giants' is not known"),
    (("--schedules", "seldom"), "'seldom': use some of never"),
    (("--scenarios", "rain"), "'rain' is not known"),
    (("--full",), "give it an --out DIR"),
    (("--set", "cuff.volume=3"), "cuff"),
])
def test_what_cannot_be_done_is_one_line(refusal, arguments, words):
    assert words in refusal("schedules", *arguments)


def test_the_full_comparison_is_as_large_as_promised():
    """At least eight scenarios, the usual ones among them."""
    full = FULL_SCENARIOS.split(",")
    assert len(full) == len(set(full)) >= 8 and set(USUAL_SCENARIOS.split(",")) <= set(full)


def test_help_names_what_there_is(cuffloop):
    from calibrate.schedule.names import SCHEDULES

    text = " ".join(cuffloop("schedules", "--help").out.split())
    assert all(name in text for name in (*SCHEDULES, "FILE.py:Class", "--full", "--workers", "--out", "--json"))


def test_interrupted_it_says_what_is_kept(tmp_path):
    """Ctrl-C to the whole group of processes, as a terminal sends it: status 130, whole files, no process left."""
    out = tmp_path / "out"
    arguments = ["schedules", "--schedules", "never", "--scenarios", "quiet,cold", "--fingers", "4", "--minutes", "15",
                 "--workers", "2", "--out", str(out)]
    code = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # also in the background
            "import experiments.commands.main as c; c.main()")
    process = subprocess.Popen([sys.executable, "-c", code, *arguments],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    limit = time.monotonic() + 120.0
    while not list((out / "runs").glob("chunk-" + "?" * 20)) and time.monotonic() < limit:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGINT)
    said, complaint = process.communicate(timeout=60.0)
    kept = len(list((out / "runs").glob("chunk-" + "?" * 20)))
    assert process.returncode == 130 and said == "" and 1 <= kept < 8
    assert complaint == (f"cuffloop: interrupted; {kept} of 8 fingers and scenarios are done; the same command goes on "
                         "from there\n")
    assert sorted(p.name for p in out.iterdir()) == ["runs"]
