"""What holds for every result and every function of the Python interface."""
import dataclasses
import doctest
import importlib
import json

import pytest

from experiments.front.result import Result


def doctests_of(name: str) -> None:
    """Run the examples of a module of the interface; there must be some."""
    found = doctest.testmod(importlib.import_module(f"experiments.front.{name}"), verbose=False)
    assert found.attempted > 0 and found.failed == 0


def is_whole(result: Result, figures: set[str], folder, files: set[str]) -> None:
    """Everything that a result promises."""
    assert str(result) == repr(result) == "\n".join(result.lines())
    page = result._repr_html_()
    assert page.startswith("<pre") and page.endswith("</pre>") and "<" not in page[4:-6].split(">", 1)[1]
    document = json.loads(result.to_json())
    if "provenance" in document:  # all but a bare rig
        assert document["provenance"]["command"].startswith("cuffloop.") and "medical device" in document["caution"]
    data = result.to_xarray()
    assert data.variables and result.units
    for name, variable in data.data_vars.items():
        if variable.dtype.kind == "f":
            assert "units" in variable.attrs or name in ("value", "low", "high"), name
    drawn = result.plot()
    assert set(drawn) == figures
    for figure in drawn.values():
        figure.draw_without_rendering()
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.told = {}
    assert set(result.save(folder)) == files == {path.name for path in folder.iterdir()}
