"""`cuffloop margins`: lines, files and exit status."""
import json

from tests.experiments.commands.jobs.command_line import files, sets


def test_margins(cuffloop, tmp_path):
    said = cuffloop("margins", "--at", "60", "--at", "150", "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and "60 mmHg, fill" in said.out and "150 mmHg, vent" in said.out
    assert files(tmp_path / "out") == ["budget.png", "margins.json", "margins.png"]
    found = json.loads(cuffloop("margins", "--json").out)
    assert [m["arterial_mmHg"] for m in found["margins"]] == [90.0, 90.0] and found["rig"] == "wrist"


def test_margins_of_an_unstable_loop(cuffloop, tmp_path):
    said = cuffloop("margins", *sets("controller.kp=0.5"), "--out", tmp_path / "out")
    assert said.status == 1 and said.err == "" and "UNSTABLE" in said.out
    assert set(files(tmp_path / "out")) >= {"margins.json", "margins.png"}
