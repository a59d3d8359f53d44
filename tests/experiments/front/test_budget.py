"""`cuffloop.budget`: a budget from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.budget("wrist", samples=0), {"budget"}, tmp_path / "out", {"budget.json", "budget.png"})


def test_examples():
    doctests_of("budget")
