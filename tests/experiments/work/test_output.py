"""Results are written whole or not at all, and JSON holds whatever a result holds."""
import json
import math
import platform
import re
import shlex

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.work.asked import asked
from experiments.work.output import (
    CAUTION,
    OutputFolder,
    plain,
    print_json,
    print_lines,
    provenance,
    waiting_name,
    whole_file,
)
from plant.errors import InputError

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters()) | st.complex_numbers(),
    lambda inner: st.lists(inner, max_size=3) | st.tuples(inner) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


def everything(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


@given(VALUES)
def test_any_result_becomes_strict_json(value):
    text = json.dumps(plain(value), allow_nan=False, ensure_ascii=False)
    assert json.loads(text.encode("utf-8")) == plain(value)


def test_numbers_keep_their_value():
    found = plain({"a": np.float64(0.1), 2: (np.int64(3), np.array([1.5, math.inf]))})
    assert found == {"a": 0.1, "2": [3, [1.5, "inf"]]}
    assert plain([math.nan, -math.inf, 1 + 2j, True]) == ["nan", "-inf", {"real": 1.0, "imaginary": 2.0}, True]
    assert plain("\udcff.csv") == r"\udcff.csv"


def test_printing(capsys, tmp_path):
    print_json({"unit": "mmHg·s", "value": math.inf})
    assert json.loads(capsys.readouterr().out) == {"unit": "mmHg·s", "value": "inf"}
    folder = OutputFolder(tmp_path)
    folder.written += ["a.json", "b.png"]
    print_lines(["one", "two"], folder)
    assert capsys.readouterr().out == f"one\ntwo\n\nwritten to {tmp_path}: a.json, b.png\n"


def test_provenance_repeats_the_command():
    with asked(shlex.join(["cuffloop", "check", "my rig.toml", "--set", "a.b=1"])):
        found = provenance(7)
    assert shlex.split(found["provenance"]["command"]) == ["cuffloop", "check", "my rig.toml", "--set", "a.b=1"]
    assert found["provenance"]["seed"] == 7 and found["caution"] == CAUTION
    assert found["provenance"]["python"] == platform.python_version() and found["provenance"]["platform"]
    assert re.fullmatch(r"[0-9a-f]{40}(\+changed)?|unknown", found["provenance"]["commit"])
    assert set(found["provenance"]["libraries"]) == {"numpy", "scipy", "numba", "pydantic"}


def test_a_whole_file_appears_at_the_end(tmp_path):
    path = tmp_path / "result.csv"
    with whole_file(path) as temporary:
        assert temporary == waiting_name(path) and temporary.name == "result.csv.part"
        temporary.write_text("1")
        assert not path.exists()
    assert path.read_text() == "1" and everything(tmp_path) == ["result.csv"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError, OSError(28, "No space left on device")])
def test_half_a_file_is_none(tmp_path, error):
    path = tmp_path / "result.csv"
    path.write_text("old")
    kind = InputError if isinstance(error, OSError) else error
    with pytest.raises(kind) as end, whole_file(path, "--trace ") as temporary:
        temporary.write_text("half")
        raise error
    assert path.read_text() == "old" and everything(tmp_path) == ["result.csv"]
    if isinstance(error, OSError):
        assert str(end.value) == f"--trace {path}: cannot be written: No space left on device"


def test_a_folder_fills_at_the_end(tmp_path):
    place = tmp_path / "deep" / "out"
    with OutputFolder.open(place) as folder:
        assert folder is not None and everything(place) == []
        folder.write_json("a.json", {"x": 1.0})
        assert everything(place) == ["a.json.part"]
    assert everything(place) == ["a.json"] == folder.written
    assert json.loads((place / "a.json").read_text()) == {"x": 1.0}


def test_no_folder_asked_for():
    with OutputFolder.open(None) as folder:
        assert folder is None


@pytest.mark.parametrize("there_before", [False, True])
def test_interrupted_work_leaves_nothing(tmp_path, there_before):
    """Neither files nor folders that were made for them; what was there before stays as it was."""
    place = tmp_path / "deep" / "out"
    if there_before:
        place.mkdir(parents=True)
        (place / "a.json").write_text("old")
    before = everything(tmp_path)
    with pytest.raises(KeyboardInterrupt), OutputFolder.open(place) as folder:
        folder.write_json("a.json", {"x": 1.0})
        folder.write_json("b.json", {})
        raise KeyboardInterrupt
    assert everything(tmp_path) == before
    assert not there_before or (place / "a.json").read_text() == "old"


def test_a_figure_that_fails_leaves_nothing(tmp_path):
    def draw():
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), OutputFolder.open(tmp_path / "out") as folder:
        folder.write_json("a.json", {})
        folder.write_figures({"f": draw})
    assert everything(tmp_path) == []


def test_places_that_are_no_folder(tmp_path):
    file = tmp_path / "file"
    file.write_text("")
    for place in (file, file / "below", tmp_path / ("x" * 300), tmp_path / "nul\0"):
        with pytest.raises(InputError, match=r"--out .*not a folder that can be written: ."), OutputFolder.open(place):
            raise AssertionError("it opened")
    assert everything(tmp_path) == ["file"]


def test_a_name_that_is_taken_by_a_folder(tmp_path):
    (tmp_path / "a.json").mkdir()
    with pytest.raises(InputError, match=r"a\.json: cannot be written"), OutputFolder.open(tmp_path) as folder:
        folder.write_json("b.json", {})
        folder.write_json("a.json", {})
    assert everything(tmp_path) == ["a.json"]


def test_a_data_set_waits_with_the_others(tmp_path):
    """Classic NetCDF under a temporary name until the work is done; nothing when it is not."""
    import xarray

    dataset = xarray.Dataset({"a_mmHg": ("x", np.arange(3.0), {"units": "mmHg"})})
    with pytest.raises(KeyboardInterrupt), OutputFolder.open(tmp_path / "lost") as folder:
        folder.write_netcdf("a.nc", dataset)
        raise KeyboardInterrupt
    assert not (tmp_path / "lost").exists()
    with OutputFolder.open(tmp_path / "out") as folder:
        folder.write_netcdf("a.nc", dataset)
        assert not (tmp_path / "out" / "a.nc").exists()
    assert everything(tmp_path / "out") == ["a.nc"]
    with xarray.open_dataset(tmp_path / "out" / "a.nc") as found:
        assert found.identical(dataset)
