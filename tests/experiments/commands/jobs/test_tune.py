"""`cuffloop tune` from the command line."""
import json
from dataclasses import replace

import pytest

from experiments.commands.jobs.tune import TuneOptions, tune_job
from experiments.design.tune import study as tune_module


@pytest.fixture
def quick(monkeypatch, tuning):
    """The command's own tuning replaced by one that is at hand; what it was asked is kept."""
    asked = []

    def instead(*arguments):
        asked.append(arguments)
        return tuning

    monkeypatch.setattr(tune_module, "tune", instead)
    return asked


def test_files_and_table(quick, cuffloop, tmp_path):
    out = tmp_path / "out"
    said = cuffloop("tune", "wrist", "--fingers", 8, "--out", out)
    assert said.status == 0 and "against the best classical rule" in said.out
    assert sorted(p.name for p in out.iterdir()) == [
        "fingers.png", "sensitivity.png", "trade_off.png", "tune.json", "tuned.toml"]
    margins = cuffloop("margins", out / "tuned.toml")
    assert margins.status == 0 and "wrist_tuned" in margins.out


def test_json_alone(quick, cuffloop):
    said = cuffloop("tune", "--fingers", 8, "--json")
    found = json.loads(said.out)
    assert found["passed"] is True and found["provenance"]["seed"] == 1


def test_limits_come_from_the_rig_or_from_a_file(quick, tmp_path):
    usual = TuneOptions(fingers=8, slope_error=0.03, as_json=True)
    tune_job(usual)
    path = tmp_path / "limits.toml"
    path.write_text("[phase_margin_deg]\nmin = 30\n")
    tune_job(replace(usual, requirements=path))
    first, second = ({limit.figure: limit.allowed for limit in asked[2].limits} for asked in quick)
    assert first["phase_margin_deg"] == 45.0 and first["sensitivity_peak"] == 1.6 and "rms_error_mmHg" not in first
    margins = {name: limit for name, limit in second.items() if not name.startswith("command_")}
    assert margins == {"phase_margin_deg": 30.0, "sensitivity_peak": 1.6, "delay_margin_ticks": 2.0}
    assert len(second) == len(margins) + 4  # the command is bounded whatever a file says


@pytest.mark.parametrize(("arguments", "says"), [
    (("--fingers", "0"), "--fingers 0"), (("--group", "giants"), "group = 'giants' is not known"),
    (("--percentile", "20"), "--percentile 20"), (("--slope-error", "1"), "--slope-error 1"),
    (("--seed", "-1"), "--seed"), (("--requirements", "none.toml"), "none.toml: no such file"),
])
def test_wrong_options_are_one_line(refusal, arguments, says):
    assert says in refusal("tune", "wrist", *arguments)
