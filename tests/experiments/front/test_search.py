"""`cuffloop.search` and `cuffloop.searches` from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_one_finger(tmp_path):
    result = cuffloop.search("wrist", "mixed-1-0011", strategy="arctangent")
    is_whole(result, {"search"}, tmp_path / "out", {"search.json", "search.png"})
    assert result.passed and not cuffloop.search("wrist", "mixed-1-0003-loose_cuff", strategy="classroom").passed


def test_many_fingers(tmp_path):
    result = cuffloop.searches("wrist", 2, strategies=["classroom", "arctangent"], seed=3)
    is_whole(result, {"searches"}, tmp_path / "out", {"searches.json", "searches.nc", "searches.png"})
    kept = cuffloop.searches("wrist", 2, strategies="classroom,arctangent", seed=3,
                             work=cuffloop.Work(folder=tmp_path / "kept"))
    assert repr(kept.study.rows) == repr(result.study.rows) and (tmp_path / "kept" / "parts").is_dir()


def test_a_rig_that_was_changed_in_python():
    rig = cuffloop.load_rig("wrist", {"controller.kp": 0.007})
    assert cuffloop.searches(rig, 1, strategies="classroom").study.plan.settings == ("controller.kp=0.007",)
    changed = rig._replace(controller=rig.controller._replace(kp=0.005))
    with pytest.raises(cuffloop.InputError, match="was changed after it had been loaded"):
        cuffloop.searches(changed, 1)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: cuffloop.search("wrist", "mixed-1-0001", seed=2), "^finger and seed: give only one"),
    (lambda: cuffloop.search("wrist", "mixed-1-0001", record="synthetic"), "^record and finger"),
    (lambda: cuffloop.search("wrist", group="tall"), "^group tall"),
    (lambda: cuffloop.search("wrist", substeps=0), "^substeps 0"),
    (lambda: cuffloop.searches("wrist", 0), "^fingers 0"),
    (lambda: cuffloop.searches("wrist", 1, work=cuffloop.Work(workers=0)), "^workers 0"),
])
def test_what_is_refused(call, words):
    with pytest.raises(cuffloop.InputError, match=words):
        call()


def test_examples():
    doctests_of("search")
