"""`cuffloop sweep` as a whole: files, JSON, refusals, a kill at any time, Ctrl-C, and the command for one finger."""
import json
import os
import shlex
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
import xarray

from experiments.rigs.rig import load_rig
from plant import declare

NOW = load_rig("wrist").controller.kp
SHORT = ("--record", "synthetic", "--seconds", "8")
posix = pytest.mark.skipif(os.name != "posix", reason="sends POSIX signals")


def test_files_lines_and_status(tmp_path, cuffloop):
    out = tmp_path / "out"
    said = cuffloop("sweep", f"controller.kp=0.004,{NOW}", "tube.length_m=0,0.05", *SHORT, "--out", out)
    assert said.status == 0 and said.err == "" and "< best" in said.out
    assert sorted(p.name for p in out.iterdir()) == ["sweep.json", "sweep.nc", "sweep.png"], "no finished pieces"
    with xarray.open_dataset(out / "sweep.nc", engine="scipy") as data:
        assert data["phase_margin_deg"].shape == (2, 2) and float(data["tube.length_m"][0]) == 0.0
        assert json.loads(data.attrs["about"])["provenance"]["command"].startswith("cuffloop sweep controller.kp=")
    assert cuffloop("sweep", "wrist", "controller.kp=0.001,0.002", *SHORT).status == 1


def test_json_alone(cuffloop):
    said = cuffloop("sweep", "cabinet", "tube.length_m=0.6,1.2", *SHORT, "--json", "--simulate")
    document = json.loads(said.out)
    assert document["rig"] == "cabinet" and len(document["worst"]["rms_error_mmHg"]) == 2
    assert document["record"] == "synthetic" and document["provenance"]["seed"] == 1


def test_the_worst_finger_alone_is_as_bad(tmp_path, cuffloop):
    """The command that is printed gives the very figures of the sweep."""
    limits = tmp_path / "limits.toml"
    limits.write_text("[phase_margin_deg]\nmin = 10\n")
    best = json.loads(cuffloop("sweep", "controller.kp=0.01,0.012", "--fingers", 4, "--group", "old", "--set",
                               "light.bits=16", "--requirements", limits, "--json").out)["best"]
    words = shlex.split(best["run_worst_finger"])
    assert words[:2] == ["cuffloop", "sweep"] and "--set" in words
    alone = json.loads(cuffloop(*words[1:], "--json").out)
    assert alone["fingers"] == [words[words.index("--finger") + 1]]
    assert alone["worst"]["signed_modulus_margin"][0] == pytest.approx(best["signed_modulus_margin"], rel=1e-9)


@pytest.mark.parametrize(("arguments", "words"), [
    (("controller.kp=-1:4:40",), ("controller.kp", "-1", "0 to 100")),
    (("wrist",), ("needs an axis",)),
    (("nobody", "controller.kp=1,2"), ("nobody", "built-in rig")),
    (("controller.kp=1,2", "wrist"), ("axis wrist",)),
    (("controller.kp=1:2", "--sample", "0"), ("--sample 0",)),
    (("controller.kp=1,2", "--group", "old"), ("--group old", "--fingers")),
    (("controller.kp=1,2", "--fingers", "2", "--group", "nobody"), ("nobody", "mixed")),
    (("controller.kp=1,2", "--fingers", "0"), ("--fingers 0",)),
    (("controller.kp=1,2", "--finger", "mixed-1"), ("mixed-1", "GROUP-SEED-NUMBER")),
    (("controller.kp=1,2", "--finger", "mixed-1-0001", "--fingers", "3"), ("--finger mixed-1-0001",)),
    (("controller.kp=1,2", "--fingers", "2", "--record", "pig"), ("--record pig", "own pressure")),
    (("controller.kp=1,2", "--fingers", "2", "--seconds", "2"), ("--seconds 2", "8 to 3600")),
    (("artery.half_width_mmHg=8,9", "--fingers", "2"), ("finger.artery.half_width_mmHg",)),
    (("controller.kp=1,2", "--workers", "0"), ("--workers 0", "1 to 256")),
    (("controller.kp=1,2", "--seed", "-1"), ("--seed -1",)),
    (("controller.kp=1,2", "--cluster", "tcp://h:1", "--workers", "2"), ("--workers 2", "cluster")),
    (("controller.kp=1,2", "--record", "absent.csv"), ("absent.csv",)),
])
def test_refusals(tmp_path, refusal, arguments, words):
    line = refusal("sweep", *arguments, "--out", tmp_path / "out")
    assert all(word in line for word in words), line
    assert not (tmp_path / "out").exists()


def test_another_study_s_folder(tmp_path, cuffloop, refusal):
    sweep = ("sweep", *SHORT, "--keep", "--out", tmp_path / "out")
    cuffloop(*sweep, f"controller.kp=0.004,{NOW}")
    before = (tmp_path / "out" / "sweep.nc").read_bytes()
    assert "another study" in refusal(*sweep, "controller.kp=0.004,0.009")
    assert (tmp_path / "out" / "sweep.nc").read_bytes() == before
    assert cuffloop(*sweep, f"controller.kp=0.004,{NOW}").status == 0


def test_a_finger_s_own_pressure_can_be_swept(cuffloop):
    found = json.loads(cuffloop("sweep", "finger.pressure.systolic_mmHg=120,160", "--seconds", "8", "--json").out)
    assert found["record"] is None
    rms = found["worst"]["predicted_rms_mmHg"]
    assert rms[1] > 1.5 * rms[0]  # a pulse of 85 mmHg rather than 45


LONG = ("controller.kp=0.003:0.02:24", "controller.td_s=0.01:0.06:24", "--simulate", *SHORT)


def start(out, *more):
    code = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "  # a shell may have ignored it
            "import experiments.commands.main as c; c.main()")
    return subprocess.Popen([sys.executable, "-c", code, "sweep", *LONG, "--out", str(out), *more],
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def wait_for(out, count, running):
    while len(list(out.glob("sweep-chunks/chunk-" + "?" * 20))) < count:
        assert running.poll() is None, running.communicate()
        time.sleep(0.005)


@posix
@pytest.mark.slow
def test_killed_twice_and_interrupted_it_ends_with_the_same_bits(tmp_path, cuffloop, monkeypatch):
    """SIGKILL with one worker and with two, Ctrl-C with status 130 and one line, and then the rest."""
    monkeypatch.setattr(declare, "_outside_sources", set())  # parts that other tests loaded are not the other process's
    whole, out = tmp_path / "whole", tmp_path / "out"
    assert cuffloop("sweep", *LONG, "--workers", 1, "--out", whole).status in (0, 1)
    for workers, count in (("1", 2), ("2", 6)):
        running = start(out, "--workers", workers)
        wait_for(out, count, running)
        running.send_signal(signal.SIGKILL)
        running.communicate(timeout=20)
    assert not (out / "sweep.nc").exists()
    running = start(out, "--workers", "2")
    wait_for(out, 8, running)
    running.send_signal(signal.SIGINT)
    said, err = running.communicate(timeout=20)
    assert (running.returncode, said) == (130, "") and err.startswith("cuffloop: interrupted; ")
    assert err.endswith("goes on from there\n") and err.count("\n") == 1
    assert [p.name for p in out.iterdir()] == ["sweep-chunks"]
    assert cuffloop("sweep", *LONG, "--workers", 1, "--out", out).status in (0, 1)
    with (xarray.open_dataset(whole / "sweep.nc", engine="scipy") as one,
          xarray.open_dataset(out / "sweep.nc", engine="scipy") as other):
        for name in one.variables:
            assert np.array_equal(one[name].values.view("u1"), other[name].values.view("u1")), name


@pytest.mark.parametrize(("words", "why"), [
    (("controller.kp=0.01,0.02",), "axis controller.kp: is of the rig's own law"),
    (("tube.length_m=0.1,0.2", "--workers", "2"), "--workers does not go with --firmware"),
    (("tube.length_m=0.1,0.2", "--fingers", "2"), "--fingers does not go with --firmware"),
    (("tube.length_m=0.1,0.2",), "--firmware missing.c: there is no such file"),
])
def test_a_firmware_that_cannot_be_swept(cuffloop, words, why):
    said = cuffloop("sweep", *words, "--firmware", "missing.c")
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""
