"""A rig that runs code of its own: refused, and not run, where the study was there before, unless it is trusted."""
import json
from pathlib import Path

import pytest

from experiments.rigs.rig import read_rig
from experiments.rigs.trust import own_code, refuse_own_code, refuse_when_resumed
from experiments.work.chunks import MANIFEST
from plant.errors import InputError
from tests.experiments.safety.report.test_evidence import STUDY

RAN = "open({!r}, 'w').close()\nraise ValueError('it was run')\n"
STUDIES = {  # a command with its options, and where it keeps what is done
    "faults": (("faults", "--fingers", "1"), "faults-chunks"),
    "sweep": (("sweep",), "sweep-chunks"),
    "budget": (("budget", "--samples", "8"), "budget-chunks"),
    "search": (("search", "--fingers", "1"), "parts"),
    "schedules": (("schedules", "--fingers", "1", "--minutes", "1"), "runs"),
}


@pytest.fixture
def other_finger(tmp_path):
    """A rig file with a Python file beside it that leaves a mark when it is run."""
    (tmp_path / "theirs.py").write_text(RAN.format(str(tmp_path / "mark")))
    (tmp_path / "theirs.toml").write_text('[valve]\nkind = "theirs.py:Valve"\n')
    return tmp_path


@pytest.mark.parametrize("kind", ["theirs.py:Valve", "/tmp/theirs.py:Valve", "pressured", ""])
def test_what_names_code(kind):
    assert own_code({"valve": {"kind": kind}}) == f"valve.kind = {kind!r}"


@pytest.mark.parametrize("tables", [
    {}, {"valve": {}}, {"valve": {"kind": "pressure"}}, {"valve": 3}, {"tube": {"kind": 3}},
    {"valve": {"kind": ["x"]}}])
def test_what_names_none(tables):
    assert own_code(tables) == ""


def test_the_built_in_rigs_need_no_trust():
    for rig in ("wrist", "cabinet"):
        assert own_code(read_rig(rig).tables) == ""
        refuse_own_code(rig, ["tube.kind=none"], False, "here")
    with pytest.raises(InputError, match=r"here, and rig wrist names a Python file to run \(tube.kind = 'a.py:B'\)"):
        refuse_own_code("wrist", ["tube.kind=a.py:B"], False, "here")


@pytest.mark.parametrize("name", STUDIES)
def test_a_study_that_is_gone_on_with(other_finger, refusal, name):
    """In a new folder the file is run, as the rig asks; where a study lies, only with --trust."""
    (command, *options), kept = STUDIES[name]
    axis = ("controller.kp=0.005,0.006",) if name == "sweep" else ()
    words = (command, other_finger / "theirs.toml", *axis, *options, "--out", other_finger / "out")
    (other_finger / "out" / kept).mkdir(parents=True)
    (other_finger / "out" / kept / MANIFEST).write_text("{}")
    line = refusal(*words)
    assert "add --trust" in line and "theirs.py:Valve" in line and not (other_finger / "mark").exists()
    assert "it was run" in refusal(*words, "--trust") and (other_finger / "mark").exists()
    (other_finger / "mark").unlink()
    (other_finger / "out" / kept / MANIFEST).unlink()
    assert "it was run" in refusal(*words)


def test_a_study_that_goes_into_a_report(other_finger, refusal):
    (other_finger / "faults.json").write_text(json.dumps(STUDY))
    words = ("report", other_finger / "theirs.toml", "--out", other_finger / "out")
    line = refusal(*words, "--faults", other_finger)
    assert "add --trust" in line and not (other_finger / "mark").exists()
    assert "it was run" in refusal(*words, "--faults", other_finger, "--trust")
    (other_finger / "mark").unlink()
    assert "it was run" in refusal(*words)


def test_odd_places_are_no_study():
    for odd in ("x\0", "y" * 5000):
        refuse_when_resumed("nobody.toml", None, False, Path(odd) / "runs")


def test_the_help_says_so_once(cuffloop):
    said = " ".join(cuffloop("faults", "--help").out.split())
    assert said.count("which is then run: open only a rig that you have read") == 1 and "--trust" in said
