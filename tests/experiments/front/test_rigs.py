"""`cuffloop.rigs` and `cuffloop.parameters`."""
import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_list():
    assert "wrist" in str(cuffloop.rigs()) and repr(cuffloop.rigs()) == str(cuffloop.rigs())


def test_the_parameters(tmp_path):
    result = cuffloop.parameters(cuffloop.load_rig("wrist", {"tube.length_m": 0.1}))
    is_whole(result, set(), tmp_path / "out", {"rig.json"})
    assert float(result.to_xarray().sel(parameter="tube.length_m")["value"]) == 0.1
    (tmp_path / "again.toml").write_text(str(result))
    assert cuffloop.load_rig(tmp_path / "again.toml").plant.tube.length_m == 0.1


def test_examples():
    doctests_of("rigs")
