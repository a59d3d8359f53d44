"""`cuffloop.check_fingers`: a rig on many fingers from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    """The same bits for the same seed; the drawn rigs are another with another."""
    path = tmp_path / "open.toml"
    path.write_text('base = "wrist"\n[spread]\n"timing.dead_time_s" = 2e-4\n')
    result = cuffloop.check_fingers(path, 2)
    is_whole(result, {"fingers"}, tmp_path / "out", {"check_fingers.json", "fingers.png"})
    again, other = cuffloop.check_fingers(path, 2), cuffloop.check_fingers(path, 2, seed=2)
    assert again.document()["by_finger"] == result.document()["by_finger"] != other.document()["by_finger"]


@pytest.mark.parametrize(("options", "word"), [
    ({"fingers": 0}, "fingers"), ({"percentile": 20.0}, "percentile"), ({"seconds": 2.0}, "seconds"),
    ({"seed": -1}, "seed"), ({"group": "blue"}, "group"),
])
def test_out_of_range(options, word):
    with pytest.raises(cuffloop.InputError, match=word):
        cuffloop.check_fingers("wrist", **{"fingers": 2} | options)


def test_examples():
    doctests_of("population.check")
