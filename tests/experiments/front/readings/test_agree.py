"""`cuffloop.agree`: two files from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


@pytest.fixture
def files(tmp_path):
    a, b = tmp_path / "a.csv", tmp_path / "b.csv"
    a.write_text("subject,value\n" + "".join(f"{i // 4},{5 + i % 4 + 0.1 * (i % 3)}\n" for i in range(24)))
    b.write_text("subject,value\n" + "".join(f"{i // 4},{5 + i % 4}\n" for i in range(24)))
    return a, b


def test_the_result(files, tmp_path):
    result = cuffloop.agree(*files, unit="L/min")
    is_whole(result, {"agreement", "trending"}, tmp_path / "out", {"agree.json", "agreement.png", "trending.png"})
    assert result.found.plain.bias == pytest.approx(0.1)


def test_arguments_are_named_as_python_writes_them(files):
    with pytest.raises(cuffloop.InputError, match="reference_precision 3 must be from 0 to 1"):
        cuffloop.agree(*files, reference_precision=3)


def test_examples():
    doctests_of("readings.agree")
