"""`cuffloop.tune` from Python, its tuning replaced by one that is at hand."""
import pytest

import cuffloop
from experiments.design.tune import study
from tests.experiments.front.front_bench import is_whole


def test_the_result(tuning, monkeypatch, tmp_path):
    monkeypatch.setattr(study, "tune", lambda *_: tuning)
    result = cuffloop.tune("wrist", 8)
    is_whole(result, {"trade_off", "sensitivity", "fingers"}, tmp_path / "out",
             {"tune.json", "tuned.toml", "trade_off.png", "sensitivity.png", "fingers.png"})
    assert cuffloop.load_rig(tmp_path / "out" / "tuned.toml").name == "wrist_tuned"
    assert result.rig_text == (tmp_path / "out" / "tuned.toml").read_text()


def test_what_is_refused():
    with pytest.raises(cuffloop.InputError, match=r"^percentile 20"):
        cuffloop.tune("wrist", 8, percentile=20)
