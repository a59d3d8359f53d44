"""`cuffloop report`, from arguments to exit status and files."""
import csv
import json

import pytest

from tests.experiments.safety.report.test_evidence import ROW, STUDY
from tests.experiments.safety.report.test_identified import FOUND


@pytest.fixture
def study(tmp_path):
    (tmp_path / "faults").mkdir()
    (tmp_path / "faults" / "faults.json").write_text(json.dumps(STUDY))
    return tmp_path / "faults"


@pytest.fixture
def short(tmp_path):
    """Twenty seconds, and limits that they keep."""
    limits = tmp_path / "limits.toml"
    limits.write_text("[phase_margin_deg]\nmin = 30\n[cuff_mmHg]\nmax = 300\n")
    return ("--record", "synthetic", "--seconds", "20", "--requirements", limits)


def test_one_file_and_the_table(cuffloop, study, short, tmp_path):
    said = cuffloop("report", "wrist", *short, "--faults", study, "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and said.out.startswith("Rig wrist: PASS: all 2 failures contained")
    page = (tmp_path / "out" / "report.html").read_text()
    assert "valve stuck open" in page and "cuffloop faults wrist" in page
    assert "Without relief: pressure above the limit, 400 mmHg" in page
    with (tmp_path / "out" / "failure_modes.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == ["drift", "valve_stuck_open"]  # the worse first
    assert json.loads((tmp_path / "out" / "report.json").read_text())["passed"] is True


def test_a_broken_limit_is_status_one(cuffloop, study, short, tmp_path):
    broken = STUDY | {"failures": [ROW | {"breaks": ["pressure"], "broken_runs": 1}]}
    (study / "faults.json").write_text(json.dumps(broken))
    said = cuffloop("report", "wrist", *short, "--faults", study, "--out", tmp_path / "out", "--json")
    assert said.status == 1 and json.loads(said.out)["passed"] is False
    document = json.loads((tmp_path / "out" / "report.json").read_text())
    assert document["requirements_kept"] is True and document["not_contained"] == ["valve_stuck_open"]
    assert document["verdict"].startswith("Rig wrist: FAIL: 1 of 1")


def test_without_failures_there_is_no_table(cuffloop, short, tmp_path):
    said = cuffloop("report", "wrist", *short, "--out", tmp_path / "out")
    assert said.status == 0
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["report.html", "report.json"]


def test_where_its_numbers_come_from(cuffloop, short, tmp_path):
    """The identification's section, its file among the hashes; one of another rig is bad input."""
    (tmp_path / "identify.json").write_text(json.dumps(FOUND))
    said = cuffloop("report", "cabinet", *short, "--identified", tmp_path, "--out", tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text()
    assert said.err == "" and "Numbers from the bench" in page and f"{tmp_path / 'identify.json'} (SHA-256)" in page
    other = cuffloop("report", "wrist", *short, "--identified", tmp_path, "--out", tmp_path / "other")
    assert other.status == 2 and "another rig" in other.err and not (tmp_path / "other").exists()


@pytest.mark.parametrize("wrong", [("--faults", "nowhere"), ("--identified", "nowhere"),
                                   ("--scales", "nowhere.toml"), ("--record", "nowhere.csv")])
def test_bad_input_writes_nothing(refusal, tmp_path, wrong):
    line = refusal("report", "wrist", *wrong, "--out", tmp_path / "out")
    assert "nowhere" in line and not (tmp_path / "out").exists()
