"""`cuffloop.sweep` from Python."""
import numpy as np
import pytest

import cuffloop
from experiments.front.sweep import axis_texts
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.sweep("wrist", {"controller.kp": [0.006, 0.0086], "tube.length_m": (0.05, 0.1, 2)},
                            record="synthetic")
    made = set(result.plot())
    is_whole(result, made, tmp_path / "out", {"sweep.nc", "sweep.json", *(f"{name}.png" for name in made)})
    assert dict(result.to_xarray().sizes) == {"controller.kp": 2, "tube.length_m": 2}


def test_axes_as_python_has_them():
    assert axis_texts({"a.b": (1.0, 2, 5, "log"), "c.d": np.array([0.1, 0.2]), "e.f": ["x", "y"], "g.h": [True]}) == [
        "a.b=1.0:2:5:log", "c.d=0.1,0.2", "e.f=x,y", "g.h=true"]
    assert axis_texts(["a.b=1:2:3"]) == axis_texts("a.b=1:2:3") == axis_texts({"a.b": "1:2:3"})
    for wrong in ((1,), (1, 2, 3, "cube"), 7):
        with pytest.raises(cuffloop.InputError, match=r"axis a\.b"):
            axis_texts({"a.b": wrong})


def test_fingers_and_options():
    options = cuffloop.SweepOptions(group="cold", seconds=8, seed=2)
    many = cuffloop.sweep("wrist", {"controller.kp": [0.006]}, fingers=2, options=options)
    assert [finger.name for finger in many.study.fingers] == ["cold-2-0000", "cold-2-0001"]
    one = cuffloop.sweep("wrist", {"controller.kp": [0.006]}, fingers="cold-2-0001",
                         options=cuffloop.SweepOptions(seconds=8))
    assert float(one.study.worst("phase_margin_deg")[0]) == float(many.study.figures[0, 1, 4])


@pytest.mark.parametrize(("call", "words"), [
    (lambda: cuffloop.sweep("wrist"), "a sweep needs an axis"),
    (lambda: cuffloop.sweep("wrist", {"controller.kp": [0.006]}, fingers=2, record="pig"), "^record pig: every finger"),
    (lambda: cuffloop.sweep("wrist", {"controller.kp": [0.006]}, options=cuffloop.SweepOptions(group="cold")),
     "^group cold: say how many with fingers"),
])
def test_what_is_refused(call, words):
    with pytest.raises(cuffloop.InputError, match=words):
        call()


def test_examples():
    doctests_of("sweep")
