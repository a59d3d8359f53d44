"""What each command does, from arguments to exit status, standard output and files."""
import io
import json
import sys
from importlib.util import find_spec

import numpy as np
import pytest

from controller.firmware import MODES
from experiments import jobs, simulate
from experiments.jobs import bounded, engine_of, pressure_source, progress_bar
from experiments.rig import load_rig
from plant.errors import InputError
from plant.pressure_synthetic import SyntheticPressure, synthesise

SHORT = ("--record", "synthetic", "--seconds", "8")
STORM = ("supply.pressure_mmHg=3000.0", "supply.stall_mmHg=5000.0", "supply.volume_mL=100000.0",
         "valve.conductance=1.0", "filling.feedforward_per_mmHg=1.0", "cuff.volume_mL=0.5")


def sets(*changes):
    return [part for change in changes for part in ("--set", change)]


def files(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


# --- the record ------------------------------------------------------------------------------------------------------


def test_synthetic_pressure(wrist):
    """As long as asked for (30 s by default), on the rig's tick; a later start is a later part of the same pressure."""
    assert len(pressure_source(wrist, "synthetic", None, 0.0, 1).pressure_mmHg) == 30_001
    whole = synthesise(SyntheticPressure(), 1e-3, 9.0, 3)
    part = pressure_source(wrist, "synthetic", 5.0, 4.0, 3)
    np.testing.assert_array_equal(part.pressure_mmHg, whole.pressure_mmHg[4000:])
    assert len(part.usable) == len(part.pressure_mmHg) == 5001


def test_a_recorded_pressure(wrist, tmp_path):
    time = np.arange(1000) / 100.0
    rows = "\n".join(f"{t:.2f},{90 + 20 * np.sin(7 * t):.3f}" for t in time)
    (tmp_path / "a.csv").write_text(f"time_s,pressure_mmHg\n{rows}\n")
    found = pressure_source(wrist, str(tmp_path / "a.csv"), 3.0, 2.0, 1)
    assert len(found.pressure_mmHg) == 3001
    np.testing.assert_allclose(found.pressure_mmHg, 90 + 20 * np.sin(7 * (2 + 1e-3 * np.arange(3001))), atol=0.05)


def test_without_a_record_it_is_the_pig_or_synthetic(wrist, monkeypatch):
    monkeypatch.setattr("plant.pressure_record.pig_available", lambda: False)
    assert pressure_source(wrist, None, 2.0, 0.0, 1).name == "synthetic"
    if find_spec("aeon") is not None:
        monkeypatch.undo()
        assert pressure_source(wrist, None, 2.0, 0.0, 1).name == "pig"


def test_more_ticks_than_a_run_holds(wrist, tmp_path, monkeypatch):
    """Refused before anything is made of that size, for synthetic pressure and for records."""
    with pytest.raises(InputError, match=r"synthetic: 8\.64e\+07 ticks .* take less with --seconds"):
        pressure_source(wrist, "synthetic", 86_400.0, 0.0, 1)
    time = np.arange(300) / 100.0
    (tmp_path / "a.csv").write_text("time_s,pressure_mmHg\n" + "".join(f"{t:.2f},90\n" for t in time))
    monkeypatch.setattr(jobs, "MOST_TICKS", 1000)
    with pytest.raises(InputError, match=r"a\.csv: 2990 ticks .*\(1000\)"):
        pressure_source(wrist, str(tmp_path / "a.csv"), None, 0.0, 1)
    assert len(pressure_source(wrist, str(tmp_path / "a.csv"), 1.0, 0.5, 1).pressure_mmHg) == 1001


def test_bounds_of_options():
    bounded("--at", 10.0, 10.0, 300.0, "mmHg")
    for value in (9.999, float("nan"), float("inf")):
        with pytest.raises(InputError, match=r"--at .* must be from 10 to 300 mmHg"):
            bounded("--at", value, 10.0, 300.0, "mmHg")


# --- progress --------------------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_shows_on_a_terminal_only(monkeypatch):
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar("running", quiet=True) as report:
        assert report is None
    with progress_bar("running", quiet=False) as report:
        report(0.5)
    assert "running" in sys.stderr.getvalue()
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_bar("running", quiet=False) as report:
        assert report is None


# --- commands --------------------------------------------------------------------------------------------------------


def test_check(cuffloop, tmp_path):
    """Table, verdict and files; the same as JSON alone; status 1 when a limit is missed."""
    limits = tmp_path / "limits.toml"
    limits.write_text("[phase_margin_deg]\nmin = 30\n[cuff_mmHg]\nmax = 300\n")
    said = cuffloop("check", *SHORT, "--requirements", limits, "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and "PASS: wrist on synthetic" in said.out
    assert said.out.endswith(f"written to {tmp_path / 'out'}: check.json, margins.png, budget.png, tracking.png\n")
    assert files(tmp_path / "out") == ["budget.png", "check.json", "margins.png", "tracking.png"]
    written = json.loads((tmp_path / "out" / "check.json").read_text())
    assert written["passed"] and written["provenance"]["seed"] == 1 and "medical device" in written["caution"]
    assert written["provenance"]["command"].startswith("cuffloop check --record synthetic")

    limits.write_text("[phase_margin_deg]\nmin = 89\n")
    said = cuffloop("check", *SHORT, "--requirements", limits, "--json")
    found = json.loads(said.out)
    assert said.status == 1 and said.err == "" and found["passed"] is False
    assert found["verdicts"][0]["figure"] == "phase_margin_deg" and found["margins"] == written["margins"]


def test_each_rig_is_held_against_the_requirements_of_its_base(cuffloop, tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr("experiments.requirements.load_requirements", lambda path: asked.append(path.name) or {})
    (tmp_path / "mine.toml").write_text('base = "cabinet"\nname = "wrist"\n')
    cuffloop("check", tmp_path / "mine.toml", "--record", "absent.csv")
    cuffloop("check", "wrist", "--record", "absent.csv")
    assert asked == ["cabinet_requirements.toml", "wrist_requirements.toml"]


def test_simulate(cuffloop, tmp_path):
    said = cuffloop("simulate", *SHORT, "--vent", "0.5", "--out", tmp_path / "out", "--trace", tmp_path / "run.csv")
    assert said.status == 0 and said.err == "" and "wrist on synthetic: 8.0 s" in said.out
    assert files(tmp_path) == ["out", "out/simulate.json", "out/tracking.png", "run.csv"]
    written = json.loads((tmp_path / "out" / "simulate.json").read_text())
    assert written["run"]["plan"]["vent_s"] == 0.5 and written["run"]["status"] == "done"
    table = np.loadtxt(tmp_path / "run.csv", delimiter=",", skiprows=1)
    assert len(table) == 8000 and {MODES[int(m)] for m in table[:, 11]} == set(MODES)


def test_simulate_offset_and_seed(cuffloop):
    """Options reach the run: an offset and a seed, told back in the JSON."""
    first, again, other = (
        json.loads(cuffloop("simulate", *SHORT, "--json", "--offset", "10", "--volume-error", "0.05", "--seed", s).out)
        for s in (5, 5, 6)
    )
    assert first["run"]["plan"]["offset_mmHg"] == 10.0 and first["run"]["plan"]["set_point_error"] == 0.05
    assert first["tracking"] == again["tracking"] != other["tracking"] and first["provenance"]["seed"] == 5
    assert first["tracking"]["ideal"]["bias_mmHg"] < -5.0


@pytest.mark.parametrize(("changes", "status"), [(STORM, "diverged"), (("controller.kp=1.0",), "saturated")])
def test_a_run_that_fails_is_a_result(cuffloop, tmp_path, changes, status):
    """Status 1, its message on the screen and in the files, which are all written."""
    out = tmp_path / "out"
    said = cuffloop("simulate", *SHORT, *sets(*changes), "--out", out, "--trace", tmp_path / "run.nc")
    written = json.loads((out / "simulate.json").read_text())
    assert said.status == 1 and said.err == "" and written["run"]["status"] == status
    assert written["run"]["message"] in said.out and "lower controller.kp" in said.out
    assert files(tmp_path) == ["out", "out/simulate.json", "out/tracking.png", "run.nc"]
    assert cuffloop("check", *SHORT, *sets(*changes)).status == 1


def test_margins(cuffloop, tmp_path):
    said = cuffloop("margins", "--at", "60", "--at", "150", "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and "60 mmHg, fill" in said.out and "150 mmHg, vent" in said.out
    assert files(tmp_path / "out") == ["budget.png", "margins.json", "margins.png"]
    found = json.loads(cuffloop("margins", "--json").out)
    assert [m["arterial_mmHg"] for m in found["margins"]] == [90.0, 90.0] and found["rig"] == "wrist"


def test_margins_of_an_unstable_loop(cuffloop, tmp_path):
    said = cuffloop("margins", *sets("controller.kp=0.5"), "--out", tmp_path / "out")
    assert said.status == 1 and said.err == "" and "UNSTABLE" in said.out
    assert files(tmp_path / "out") == ["margins.json", "margins.png"]


def test_rigs(cuffloop, tmp_path):
    """The list, and one rig as a file that runs to the same figures as the rig itself."""
    said = cuffloop("rigs")
    assert said.status == 0 and [line.split()[0] for line in said.out.splitlines()] == ["cabinet", "wrist"]
    assert set(json.loads(cuffloop("rigs", "--json").out)) == {"cabinet", "wrist"}
    said = cuffloop("rigs", "wrist", *sets("tube.length_m=0.1"))
    (tmp_path / "saved.toml").write_text(said.out)
    saved = load_rig(str(tmp_path / "saved.toml"))
    assert saved._replace(tables={}) == load_rig("wrist", ["tube.length_m=0.1"])._replace(tables={})
    first, second = (json.loads(cuffloop("simulate", rig, *SHORT, "--json", *more).out)["tracking"]
                     for rig, more in (("wrist", sets("tube.length_m=0.1")), (tmp_path / "saved.toml", ())))
    assert first == second
    assert json.loads(cuffloop("rigs", "wrist", "--json").out)["tables"]["valve"]["kind"] == "flow"


def test_settings_without_a_rig(refusal):
    assert refusal("rigs", "--set", "tube.length_m=0.1").startswith("--set tube.length_m=0.1: name the rig")


# --- Ctrl-C ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("command", "where"), [
    ("simulate", "experiments.simulate.run_ticks"), ("check", "experiments.simulate.run_ticks"),
    ("simulate", "experiments.figure_style.save"), ("check", "experiments.figure_style.save"),
    ("simulate", "numpy.savetxt"), ("margins", "experiments.figure_style.save"),
])
def test_interrupted_nothing_stays(cuffloop, tmp_path, monkeypatch, command, where):
    """Wherever Ctrl-C falls (running, drawing, writing): one line, status 130, no file and no folder."""
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(where, interrupt)
    more = {"simulate": (*SHORT, "--trace", tmp_path / "run.csv"), "check": SHORT, "margins": ()}[command]
    assert cuffloop(command, *more, "--out", tmp_path / "out") == (130, "", "cuffloop: interrupted\n")
    assert files(tmp_path) == [] and simulate.BLOCK > 0


def test_one_engine():
    with pytest.raises(InputError, match="leave the option out"):
        engine_of(2, "tcp://127.0.0.1:1")
    assert engine_of(1, None).begin_here_s == float("inf")
