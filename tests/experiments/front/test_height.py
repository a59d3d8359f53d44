"""`cuffloop.height`: a raised hand from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.height("wrist"), {"height"}, tmp_path / "out", {"height.json", "height.png"})


def test_examples():
    doctests_of("height")
