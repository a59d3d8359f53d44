"""The command: files, exit status, resuming, refusals."""
import json

import pytest

from experiments.commands.jobs.faults import FaultsOptions, faults_job
from plant.errors import InputError


def run(out=None, **changes):
    usual = {"names": "valve_stuck_open,cough", "fingers": 1, "without": "dump_valve", "seconds": 12.0, "workers": 1,
             "out": out, "as_json": True}
    return faults_job(FaultsOptions(**(usual | changes)))


def test_files_and_status(tmp_path, capsys):
    """Contained: status 0; its single point of failure is named; chunks are gone at the end."""
    assert run(tmp_path / "o") == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["not_contained"] == [] and printed["single_points"][0]["lost"] == "dump_valve"
    made = sorted(p.name for p in (tmp_path / "o").iterdir())
    assert made == ["fallback.png", "faults.csv", "faults.json", "faults.nc", "faults.png"]
    assert json.loads((tmp_path / "o" / "faults.json").read_text())["runs"] == 3


def test_status_1_and_lines_when_something_is_not_contained(capsys):
    """A pinched tube, with the dump valve behind it."""
    behind = ["dump_valve.at_cuff=false"]
    assert run(names="tube_kinked", without="none", as_json=False, seconds=20.0, setting=behind) == 1
    assert "Not contained: 1 of 1 failures breaks a limit" in capsys.readouterr().out


@pytest.mark.parametrize(("change", "word"), [
    ({"seconds": 0.1}, "seconds"), ({"group": "x"}, "group"), ({"workers": 0}, "workers"), ({"fingers": 0}, "fingers"),
    ({"without": "x"}, "x"), ({"names": "x"}, "x"), ({"seed": -1}, "seed"),
])
def test_nonsense_is_refused_before_anything_is_made(tmp_path, change, word):
    with pytest.raises(InputError, match=word):
        run(tmp_path / "o", **change)
    assert not (tmp_path / "o").exists()


def test_a_study_in_which_nothing_ran_is_no_result(tmp_path):
    """A protection that trips at once on every finger: one line, and nothing that a report could take for evidence."""
    for out in (None, tmp_path / "o"):
        with pytest.raises(InputError, match=r"^nothing ran: rig wrist holds no finger \(mixed-1-0000: supply_range"):
            run(out, setting=["supply_range.lowest_mmHg=5000"])
    assert not (tmp_path / "o").exists()


def test_the_catalogue_lists_everything(cuffloop):
    said = cuffloop("faults", "--list")
    assert said.status == 0 and "valve_stuck_open" in said.out and "watchdog" in said.out


@pytest.mark.parametrize(("words", "why"), [
    ((), "--firmware missing.c: there is no such file"),
    (("--faults", "gains_high"), "fault = gains_high: fails inside the rig's own law"),
    (("--stories", "2"), "leave one of --stories and --firmware out"),
    (("--cluster", "tcp://nowhere:1"), "--cluster tcp://nowhere:1: a firmware of your own runs on this machine"),
])
def test_a_firmware_that_failures_cannot_be_tried_on(cuffloop, tmp_path, words, why):
    given = tmp_path / "my.c" if words else "missing.c"
    (tmp_path / "my.c").write_text("int none;")
    said = cuffloop("faults", *words, "--firmware", given)
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""
