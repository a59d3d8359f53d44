"""`cuffloop rigs`: the list, and a rig as a file."""
import json

from experiments.rigs.rig import load_rig, parameters_of
from tests.experiments.commands.jobs.command_line import sets

SHORT = ("--record", "synthetic", "--seconds", "8")


def test_rigs(cuffloop, tmp_path):
    """The list, and one rig as a file that runs to the same figures as the rig itself."""
    said = cuffloop("rigs")
    assert said.status == 0 and [line.split()[0] for line in said.out.splitlines()] == ["cabinet", "wrist"]
    assert set(json.loads(cuffloop("rigs", "--json").out)) == {"cabinet", "wrist"}
    said = cuffloop("rigs", "wrist", *sets("tube.length_m=0.1"))
    (tmp_path / "saved.toml").write_text(said.out)
    saved = load_rig(str(tmp_path / "saved.toml"))
    assert parameters_of(saved) == parameters_of(load_rig("wrist", ["tube.length_m=0.1"]))
    first, second = (json.loads(cuffloop("simulate", rig, *SHORT, "--json", *more).out)["tracking"]
                     for rig, more in (("wrist", sets("tube.length_m=0.1")), (tmp_path / "saved.toml", ())))
    assert first == second
    assert json.loads(cuffloop("rigs", "wrist", "--json").out)["tables"]["valve"]["kind"] == "flow"


def test_settings_without_a_rig(refusal):
    assert refusal("rigs", "--set", "tube.length_m=0.1").startswith("--set tube.length_m=0.1: name the rig")
