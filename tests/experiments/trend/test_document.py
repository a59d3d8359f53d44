import json

import pytest

from experiments.rigs.rig import load_rig
from experiments.trend.document import read_trend, trend_file, trend_pictures
from experiments.trend.text import trend_json
from experiments.work.output import plain
from plant.errors import InputError
from tests.experiments.trend.one_study import one_study


@pytest.fixture
def folder(tmp_path):
    told = trend_json(one_study()[0]) | {"provenance": {"command": "cuffloop trend wrist"}}
    (tmp_path / "trend.json").write_text(json.dumps(plain(told)))
    (tmp_path / "hour_quiet.png").write_bytes(b"png")
    return tmp_path


def test_what_was_written_is_read_back(folder):
    document = read_trend(folder, load_rig("wrist"))
    assert document["rows"][1]["schedule"] == "steady" and document["failures"][1]["warned_s"] == float("inf")
    assert read_trend(trend_file(folder), load_rig("wrist")) == document
    assert set(trend_pictures(folder, document)) == {"hour_quiet"}


@pytest.mark.parametrize(("change", "words"), [
    ({"rows": [{"scenario": "quiet"}]}, "rows.0.schedule is missing"), ({"rig": "cabinet"}, "made on rig cabinet"),
    ({"minutes": "ten"}, "minutes"), ({"provenance": {}}, "command is missing"),
])
def test_what_is_no_such_file_is_one_line(folder, change, words):
    told = json.loads((folder / "trend.json").read_text()) | change
    (folder / "trend.json").write_text(json.dumps(told))
    with pytest.raises(InputError, match=words) as caught:
        read_trend(folder, load_rig("wrist"))
    assert "\n" not in str(caught.value) and "--trend" in str(caught.value)
