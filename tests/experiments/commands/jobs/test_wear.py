"""`cuffloop wear`, from arguments to exit status, lines and files."""
import json

import pytest

from experiments.commands.jobs.wear import WearOptions, wear_job
from plant.errors import InputError


def wear_options(hours, fingers, turn, pause, mean, **more):
    return WearOptions(hours=hours, fingers=fingers, turn=turn, pause=pause, mean=mean, **more)


def test_turns_within_limits_of_ones_own_are_accepted(tmp_path, capsys):
    """Two fingers, an hour each, 72 h: 36 h at 90 mmHg is 3240 mmHg·h."""
    own = ["two_fingers_h=72", "turn_min=60", "load_mmHg_h=3300"]
    assert wear_job(wear_options(72.0, 2, 60.0, 0.0, 90.0, limit=own, out=tmp_path)) == 0
    document = json.loads((tmp_path / "wear.json").read_text())
    assert document["accepted"] is True and [f["load_mmHg_h"] for f in document["fingers"]] == [3240.0, 3240.0]
    assert "accepted" in capsys.readouterr().out and (tmp_path / "wear.png").stat().st_size > 20_000


@pytest.mark.parametrize(("plan", "words"), [
    ((12.0, 1, 60.0, 0.0, 90.0), "longer than the 5 h"), ((80.0, 2, 40.0, 0.0, 90.0), "longer than the 30 h"),
    ((10.0, 2, 120.0, 0.0, 90.0), "120 min without a break"), ((30.0, 2, 40.0, 0.0, 150.0), "mmHg·h"),
])
def test_a_plan_beyond_its_limits_is_refused_with_the_reason(plan, words, capsys):
    assert wear_job(wear_options(*plan, as_json=True)) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["accepted"] is False and words in " ".join(document["reasons"])


@pytest.mark.parametrize(("plan", "words"), [
    ((0.0, 2, 60.0, 0.0, 90.0), "plan.duration_h"), ((8.0, 3, 60.0, 0.0, 90.0), "plan.fingers"),
    ((8.0, 2, float("nan"), 0.0, 90.0), "plan.turn_min"), ((8.0, 2, 60.0, 0.0, float("nan")), "mean_mmHg"),
])
def test_what_is_no_plan_is_one_line(plan, words, tmp_path):
    with pytest.raises(InputError, match=words):
        wear_job(wear_options(*plan, out=tmp_path / "new"))
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("text", ["one_finger_h", "one_finger_h=much", "nonsense=3", "one_finger_h=-1"])
def test_a_limit_that_is_none_is_one_line(text):
    with pytest.raises(InputError, match="limit"):
        wear_job(wear_options(4.0, 1, 40.0, 0.0, 90.0, limit=[text]))
