"""`cuffloop.require` from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.require("cabinet", systolic=20, variation=2)
    is_whole(result, {"require"}, tmp_path / "out", {"require.json", "require.png"})
    assert result.passed


def test_refusals():
    with pytest.raises(cuffloop.InputError, match="no limit on a reading"):
        cuffloop.require("wrist")
    with pytest.raises(cuffloop.InputError, match="at_mmHg 5 must be from 30 to 250"):
        cuffloop.require("wrist", output=5, at_mmHg=5)


def test_examples():
    doctests_of("readings.require")
