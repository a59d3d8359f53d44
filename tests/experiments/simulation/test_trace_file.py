"""Every tick as a file: what is in it, and names that are refused before the run."""
import csv
import sys
import types

import numpy as np
import pytest

from experiments.simulation.coupled import CHANNELS
from experiments.simulation.trace_file import ENDINGS, UNITS, as_dataset, check_trace_name, write_trace
from plant.errors import InputError


def test_every_channel_has_a_unit():
    assert set(UNITS) == set(CHANNELS)
    assert all((UNITS[name] == "mmHg") == name.endswith("_mmHg") for name in CHANNELS), "a name ends in its unit"


def test_csv(run, tmp_path):
    """One row a tick, units in the header, time as a multiple of the tick, seven digits."""
    path = tmp_path / "run.csv"
    write_trace(path, run, {})
    with path.open(newline="") as file:
        header = next(csv.reader(file))
    table = np.loadtxt(path, delimiter=",", skiprows=1)
    assert header[:4] == ["time_s", "arterial_mmHg", "cuff_mmHg", "node_mmHg"]
    assert len(header) == len(CHANNELS) + 1 and len(set(header)) == len(header)
    assert tuple(header[1:]) == CHANNELS, "the names that NetCDF has"
    assert table.shape == (8000, len(header))
    np.testing.assert_allclose(table[:, 0], 1e-3 * np.arange(8000), rtol=1e-6)
    np.testing.assert_allclose(table[:, 2], run.channels["cuff_mmHg"], rtol=1e-6, atol=1e-12)
    assert [p.name for p in tmp_path.iterdir()] == ["run.csv"]


def test_a_trace_is_a_record_again(run, tmp_path, cuffloop):
    """Two columns cut from a trace are a pressure record that the commands take."""
    write_trace(tmp_path / "run.csv", run, {})
    table = np.loadtxt(tmp_path / "run.csv", delimiter=",", skiprows=1)
    np.savetxt(tmp_path / "again.csv", table[:, :2], delimiter=",", header="time_s,pressure_mmHg", comments="",
               fmt="%.6f")
    said = cuffloop("simulate", "--record", tmp_path / "again.csv", "--json")
    assert said.status == 0 and '"again.csv' not in said.err


def test_netcdf(run, tmp_path):
    """Labelled dimension, units, provenance; the same bits as the run."""
    import xarray

    path = tmp_path / "run.nc"
    write_trace(path, run, {"seed": 1, "text": "μ"})
    with xarray.open_dataset(path, engine="scipy") as found:
        assert dict(found.sizes) == {"time_s": 8000} and found["time_s"].attrs["units"] == "s"
        assert found["cuff_mmHg"].attrs["units"] == "mmHg" and found.attrs["rig"] == "wrist"
        assert found.attrs["about"] == '{"seed": 1, "text": "μ"}' and found.attrs["modes"] == "fill, clamp, vent"
        for name, values in run.channels.items():
            assert np.array_equal(found[name].values, values)
    assert set(as_dataset(run, {}).data_vars) == set(CHANNELS)


def test_parquet(run, tmp_path, monkeypatch):
    """The same columns as CSV go to the Parquet writer (its stand-in here: the package is optional)."""
    arrow, parquet = types.ModuleType("pyarrow"), types.ModuleType("pyarrow.parquet")
    arrow.table = lambda columns: columns
    parquet.write_table = lambda table, path: path.write_text(",".join(table) + f" {len(table['time_s'])}")
    monkeypatch.setitem(sys.modules, "pyarrow", arrow)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", parquet)
    check_trace_name(tmp_path / "run.parquet")
    write_trace(tmp_path / "run.parquet", run, {})
    names, rows = (tmp_path / "run.parquet").read_text().split()
    write_trace(tmp_path / "run.csv", run, {})
    assert names == (tmp_path / "run.csv").read_text().split("\n", 1)[0] and rows == "8000"


def test_parquet_without_its_package(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match="--trace: Parquet needs the package pyarrow: pip install pyarrow"):
        check_trace_name(tmp_path / "run.parquet")


def test_names_that_will_do(tmp_path):
    for ending in (".csv", ".nc"):
        check_trace_name(tmp_path / f"run{ending}")
    assert list(tmp_path.iterdir()) == []


def test_names_that_will_not(tmp_path):
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "file").write_text("")
    for name, says in (
        ("run.txt", f"the name must end in {', '.join(ENDINGS)}"), ("run", "the name must end in"),
        (".csv", "the name must end in"), ("run.CSV", "the name must end in"), ("folder.csv", "is a folder"),
        ("absent/run.csv", "does not exist"), ("file/run.csv", "does not exist"),
        ("x" * 300 + ".csv", "cannot be written"),
    ):
        with pytest.raises(InputError) as refusal:
            check_trace_name(tmp_path / name)
        assert str(refusal.value).startswith(f"--trace {tmp_path / name}: ") and says in str(refusal.value)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder.csv"]


@pytest.mark.parametrize("ending", [".csv", ".nc"])
def test_interrupted_writing_leaves_nothing(run, tmp_path, monkeypatch, ending):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("numpy.savetxt", interrupt)
    monkeypatch.setattr("xarray.Dataset.to_netcdf", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_trace(tmp_path / f"run{ending}", run, {})
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_vanished(run, tmp_path):
    with pytest.raises(InputError, match=r"--trace .*: cannot be written: No such file"):
        write_trace(tmp_path / "gone" / "run.csv", run, {})
