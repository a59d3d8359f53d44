"""`cuffloop.wear`: a plan of wear from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.wear(12, 2), {"wear"}, tmp_path / "out", {"wear.json", "wear.png"})


def test_examples():
    doctests_of("wear")
