"""`cuffloop.fingers`: virtual fingers from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.fingers("young", 7), {"fingers"}, tmp_path / "out", {"fingers.csv"})


def test_examples():
    doctests_of("fingers")
