"""`cuffloop.rounding`: word lengths from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.rounding("wrist", "16,24", "synthetic", seconds=10)
    is_whole(result, {"rounding"}, tmp_path / "out", {"rounding.json", "rounding.png"})


def test_examples():
    doctests_of("rounding")
