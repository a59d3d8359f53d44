"""`cuffloop excite` and `cuffloop identify`, from arguments to status and files."""
import json

import pytest

import cuffloop
from experiments.commands.jobs.identify import ExciteOptions, IdentifyOptions, excite_job, identify_job
from plant.errors import InputError


def test_files_are_written(tmp_path, capsys):
    options = ExciteOptions(rig="cabinet", parts="timing", rate=2000.0, seconds=3.0, out=tmp_path / "new")
    assert excite_job(options) == 0
    document = json.loads((tmp_path / "new" / "excite.json").read_text())
    assert {piece["played"] for piece in document["pieces"]} == {"click", "step"}
    assert (tmp_path / "new" / "sheet.toml").exists() and not (tmp_path / "new" / "click.csv").exists()
    assert "written to" in capsys.readouterr().out


@pytest.mark.parametrize("more", [{"parts": "lamp"}, {"parts": ""}, {"seconds": float("nan")}, {"play": "nothing"}])
def test_a_refused_plan_leaves_nothing(tmp_path, more):
    with pytest.raises(InputError):
        excite_job(ExciteOptions(rig="cabinet", out=tmp_path / "new", **more))
    assert not (tmp_path / "new").exists()


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    cuffloop.excite("cabinet", ["timing"], seconds=1.5, play="cabinet", rate_Hz=2000).save(folder)
    return folder / "sheet.toml"


def test_a_rig_file_is_written(sheet, tmp_path, capsys):
    options = IdentifyOptions(sheet=sheet, free="timing, transducer", quick=True, out=tmp_path / "new")
    assert identify_job(options) == 0
    document = json.loads((tmp_path / "new" / "identify.json").read_text())
    assert set(document["numbers"]) == {"timing.dead_time_s", "transducer.bandwidth_Hz"} and document["fits"]
    assert "found.toml" in capsys.readouterr().out


def test_what_is_refused_leaves_nothing(sheet, tmp_path):
    for more in ({"free": "lamp"}, {"known": ["volume"]}, {"base": "nothing"}):
        with pytest.raises(InputError):
            identify_job(IdentifyOptions(sheet=sheet, out=tmp_path / "new", **more))
    with pytest.raises(InputError, match="no such file"):
        identify_job(IdentifyOptions(sheet=tmp_path / "none.toml", out=tmp_path / "new"))
    assert not (tmp_path / "new").exists()
