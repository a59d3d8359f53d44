"""What every result can do, on one made by hand."""
import dataclasses
import json
from dataclasses import dataclass

import pytest
import xarray

from experiments.front.result import Result


@dataclass(frozen=True, eq=False, repr=False)
class Made(Result):
    """A result of two lines."""

    @property
    def file_name(self):
        """made."""
        return "made"

    def lines(self):
        """Two."""
        return ["a < b", "µ"]

    def document(self):
        """Plain."""
        return {"x": float("nan")} | dict(self.told)

    def pictures(self):
        """None."""
        return {}

    def to_xarray(self):
        """One number."""
        return xarray.Dataset({"cuff_mmHg": ((), 90.0, {"units": "mmHg"}), "bare": ((), 1)})


def test_it_prints_saves_and_knows_its_units(tmp_path):
    made = Made(told={"provenance": {}, "caution": "c"})
    assert str(made) == repr(made) == "a < b\nµ" and "a &lt; b" in made._repr_html_()
    assert json.loads(made.to_json()) == {"x": "nan", "provenance": {}, "caution": "c"}
    assert made.units == {"cuff_mmHg": "mmHg"} and made.passed and made.plot() == {}
    assert made.save(tmp_path / "a" / "b") == ["made.json"] and (tmp_path / "a" / "b" / "made.json").is_file()
    assert json.loads(made.attributes()["provenance"])["caution"] == "c"
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.told = {}


def test_half_a_result_is_none():
    with pytest.raises(TypeError, match="abstract"):
        Result(told={})
