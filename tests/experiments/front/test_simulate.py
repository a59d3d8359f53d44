"""`cuffloop.simulate`: a run from Python."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    is_whole(cuffloop.simulate("wrist", "synthetic", seconds=8), {"tracking"}, tmp_path / "out",
             {"simulate.json", "tracking.png"})


def test_examples():
    doctests_of("simulate")
