"""`cuffloop budget` as a whole."""
import json
import sys

import pytest


def test_files_and_lines(tmp_path, cuffloop):
    pytest.importorskip("SALib")
    out = tmp_path / "out"
    said = cuffloop("budget", "--samples", 8, "--keep", "--out", out)
    assert said.status == 0 and said.err == "" and "a cuff that compresses 10 % more length: costs" in said.out
    assert "total Sobol index over 96 points" in said.out
    assert sorted(p.name for p in out.iterdir()) == ["budget-chunks", "budget.json", "budget.png", "sobol.png"]
    assert "another study" in cuffloop("budget", "--samples", 8, "--seed", 2, "--out", out).err


def test_json_alone(cuffloop):
    document = json.loads(cuffloop("budget", "--samples", 0, "--at", 100, "--json").out)
    assert document["rig"] == "wrist" and document["arterial_mmHg"] == 100.0 and document["sobol"] is None
    assert document["present"]["phase_margin_deg"] > 40.0 and document["provenance"]["seed"] == 1


def test_without_salib_the_rest_is_there(cuffloop, refusal, monkeypatch):
    for name in ("SALib.analyze.sobol", "SALib.sample.sobol"):
        monkeypatch.setitem(sys.modules, name, None)
    said = cuffloop("budget")
    assert said.status == 0 and "pip install 'cuffloop[sensitivity]'" in said.out
    assert "--samples" in refusal("budget", "--samples", 8)


@pytest.mark.parametrize(("arguments", "words"), [
    (("--samples", "9"), ("--samples 9", "power of two")),
    (("--samples", "4"), ("--samples 4", "8 to 65536")),
    (("--spread", "0.9"), ("--spread 0.9", "0.001 to 0.5")),
    (("--at", "5"), ("--at 5", "10 to 300")),
    (("--seed", "-1"), ("--seed -1",)),
    (("--workers", "0"), ("--workers 0",)),
    (("--set", "controller.kp=0.08"), ("unstable",)),
    (("--set", "controller.kp=-1"), ("controller.kp",)),
])
def test_refusals(tmp_path, refusal, arguments, words):
    line = refusal("budget", *arguments, "--out", tmp_path / "out")
    assert all(word in line for word in words), line
    assert not (tmp_path / "out").exists()
