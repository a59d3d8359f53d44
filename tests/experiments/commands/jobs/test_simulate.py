"""`cuffloop simulate`: lines, files, options and exit status."""
import json

import numpy as np
import pytest

from controller.tick.firmware import MODES
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
