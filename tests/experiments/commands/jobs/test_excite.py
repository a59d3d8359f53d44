"""`cuffloop excite`, from arguments to files."""
import json

import pytest

from experiments.commands.jobs.excite import ExciteOptions, excite_job
from plant.errors import InputError


def test_files_are_written(tmp_path, capsys):
    options = ExciteOptions(rig="cabinet", parts="timing", rate=2000.0, seconds=3.0, out=tmp_path / "new")
    assert excite_job(options) == 0
    document = json.loads((tmp_path / "new" / "excite.json").read_text())
    assert {piece["played"] for piece in document["pieces"]} == {"click", "step"}
    assert (tmp_path / "new" / "sheet.toml").exists() and not (tmp_path / "new" / "click.csv").exists()
    assert "written to" in capsys.readouterr().out


@pytest.mark.parametrize("more", [{"parts": "lamp"}, {"parts": ""}, {"seconds": float("nan")}, {"play": "nothing"}])
def test_what_is_refused_leaves_nothing(tmp_path, more):
    with pytest.raises(InputError):
        excite_job(ExciteOptions(rig="cabinet", out=tmp_path / "new", **more))
    assert not (tmp_path / "new").exists()
