"""`cuffloop simulate`: lines, files, options and exit status."""
import json

import numpy as np
import pytest

from controller.tick.firmware import MODES
from experiments.front.inputs import load_rig, read_record
from experiments.front.simulate import simulate
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.population import find_finger
from tests.experiments.commands.jobs.command_line import SHORT, STORM, files, sets


def test_simulate(cuffloop, tmp_path):
    said = cuffloop("simulate", *SHORT, "--vent", "0.5", "--out", tmp_path / "out", "--trace", tmp_path / "run.csv")
    assert said.status == 0 and said.err == "" and "wrist on synthetic: 14.0 s" in said.out
    assert files(tmp_path) == ["out", "out/simulate.json", "out/tracking.png", "run.csv"]
    written = json.loads((tmp_path / "out" / "simulate.json").read_text())
    assert written["run"]["plan"]["vent_s"] == 0.5 and written["run"]["status"] == "done"
    table = np.loadtxt(tmp_path / "run.csv", delimiter=",", skiprows=1)
    assert len(table) == 14_000 and {MODES[int(m)] for m in table[:, 11]} == set(MODES)


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


def test_a_virtual_finger_brings_its_body_and_its_pressure(cuffloop, tmp_path):
    """The same run as the finger's own pressure on the rig that is put on it; another record when one is given."""
    out = tmp_path / "out"
    said = cuffloop("simulate", "wrist", "--finger", "mixed-1-0003", "--seconds", "8", "--start", "1", "--out", out)
    assert said.err == "" and "wrist on mixed-1-0003: 8.0 s" in said.out
    finger = find_finger("mixed-1-0003")
    whole = finger_pressure(finger, 0.001, 9.0)
    part = whole._replace(pressure_mmHg=whole.pressure_mmHg[1000:], usable=whole.usable[1000:])
    ours = simulate(on_finger(load_rig("wrist"), finger), part)
    written = json.loads((out / "simulate.json").read_text())
    assert written["tracking"]["ideal"]["rms_mmHg"] == ours.document()["tracking"]["ideal"]["rms_mmHg"]
    other = cuffloop("simulate", "wrist", "--finger", "mixed-1-0003", "--record", "synthetic", "--seconds", "8")
    assert "wrist on synthetic: 8.0 s" in other.out


def test_a_file_with_columns_of_its_own(cuffloop, refusal, tmp_path):
    trace = read_record("synthetic", seconds=8)
    own, usual = tmp_path / "own.csv", tmp_path / "usual.csv"
    rows = [f"{i / 1000:g},{p:.6g}" for i, p in enumerate(trace.pressure_mmHg)]
    own.write_text("t,p\n" + "\n".join(rows) + "\n")
    usual.write_text("time_s,pressure_mmHg\n" + "\n".join(rows) + "\n")
    found = [json.loads(cuffloop("simulate", "wrist", *words, "--seconds", "6", "--json").out)["tracking"]
             for words in (("--record", own, "--columns", "t,p"), ("--record", usual))]
    assert found[0] == found[1]
    assert "--record" in refusal("simulate", "wrist", "--columns", "t,p")
    assert "'q'" in refusal("check", "wrist", "--record", own, "--columns", "t,q")
    assert "header" in refusal("simulate", "wrist", "--record", own)
