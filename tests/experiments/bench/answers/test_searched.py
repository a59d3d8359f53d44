"""A search on the page is `cuffloop search` on the same record."""
import json

import pytest

from experiments.bench.answers.searched import searched
from experiments.bench.asked import Refused
from experiments.bench.wire import packed, unpacked
from tests.experiments.bench.helper import asked


def test_it_finds_what_check_finds_and_tells_each_step(cuffloop):
    (answer,) = searched(asked())
    page = unpacked(packed(answer)).head
    command = json.loads(cuffloop("check", "wrist", "--record", "synthetic", "--seconds", 16, "--json").out)
    assert page["found"]
    for key in ("set_point", "error_mmHg", "search_s", "slope_ratio", "first_waveform_s"):
        assert page[key] == command["calibration"][key], key
    assert [step["number"] for step in page["steps"]] == list(range(1, len(page["steps"]) + 1))
    ends = [phase["end_s"] for phase in page["phases"]]
    assert ends == sorted(ends) and page["law"]["width_mmHg"] > 0.0
    assert answer.arrays["time_s"][-1] == pytest.approx(ends[-1], abs=0.05)


@pytest.mark.parametrize("name", ["own.py:Search", 3, "nothing", ["probing"]], ids=str)
def test_only_built_in_searches_can_be_asked_for(name):
    with pytest.raises(Refused):
        list(searched(asked(options={"strategy": name})))
