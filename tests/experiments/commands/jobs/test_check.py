"""`cuffloop check`: table, verdict, files and exit status."""
import json

import pytest

from tests.experiments.commands.jobs.command_line import SHORT, files


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
    monkeypatch.setattr("experiments.front.check.load_requirements", lambda path: asked.append(path.name) or {})
    (tmp_path / "mine.toml").write_text('base = "cabinet"\nname = "wrist"\n')
    cuffloop("check", tmp_path / "mine.toml", "--record", "absent.csv")
    cuffloop("check", "wrist", "--record", "absent.csv")
    assert asked == ["cabinet_requirements.toml", "wrist_requirements.toml"]


@pytest.mark.parametrize(("words", "why"), [
    (("wrist", "cabinet", "--firmware", "my.c"), "--firmware my.c: is judged on one rig and its own finger"),
    (("wrist", "--fingers", "3", "--firmware", "my.c"), "--firmware my.c: is judged on one rig and its own finger"),
    (("--firmware", "missing.c", "--record", "synthetic"), "--firmware missing.c: there is no such file"),
])
def test_a_firmware_that_cannot_be_judged(cuffloop, words, why):
    said = cuffloop("check", *words)
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""


def test_on_many_fingers(cuffloop, tmp_path):
    """One rig on its fingers; what does not go with that is refused in one line, and so are its options without it."""
    limits = tmp_path / "limits.toml"
    limits.write_text("[phase_margin_deg]\nmin = 20\n")
    said = cuffloop("check", "wrist", "--fingers", 3, "--requirements", limits, "--out", tmp_path / "out")
    assert said.status == 0 and "wrist on 3 fingers (mixed)" in said.out and "PASS" in said.out
    assert files(tmp_path / "out") == ["check_fingers.json", "fingers.png"]
    for words, line in ((("wrist", "cabinet", "--fingers", 3), "judges one rig"),
                        (("--fingers", 3, "--record", "pig"), "every finger has its own pressure"),
                        (("--group", "old"), "say on how many fingers"), (("--simulate",), "say on how many fingers"),
                        (("--percentile", 90), "say on how many fingers")):
        said = cuffloop("check", *words)
        assert said.status == 2 and line in said.err and said.err.count("\n") == 1
