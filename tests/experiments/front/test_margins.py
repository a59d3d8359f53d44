"""`cuffloop.margins`: margins from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.margins("cabinet", 100), {"budget", "margins"}, tmp_path / "out",
             {"budget.png", "margins.json", "margins.png"})


def test_examples():
    doctests_of("margins")
