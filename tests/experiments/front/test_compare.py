"""`cuffloop.compare`: rigs side by side from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    slow = cuffloop.load_rig("wrist", {"controller.kp": 0.004})
    result = cuffloop.compare("wrist", slow, record="synthetic", seconds=16)
    is_whole(result, {"compare"}, tmp_path / "out", {"compare.json", "compare.png"})
    assert not result.passed and list(result.to_xarray()["rig"].values) == ["wrist", "wrist controller.kp=0.004"]
    alone = cuffloop.check(slow, "synthetic", seconds=16)
    assert float(result.to_xarray()["rms_error_mmHg"][1]) == alone.figures["rms_error_mmHg"]


def test_progress_is_told_over_all_rigs():
    told = []
    with cuffloop.progress(told.append):
        cuffloop.compare("wrist", "wrist", record="synthetic", seconds=16)
    assert told == sorted(told) and told[-1] == 1.0 and any(0.0 < share <= 0.5 for share in told)


@pytest.mark.parametrize("rigs", [(), ("wrist",), ("wrist",) * 7])
def test_too_few_or_too_many(rigs):
    with pytest.raises(cuffloop.InputError, match="compare takes from 2 to 6"):
        cuffloop.compare(*rigs)


def test_examples():
    doctests_of("compare")
