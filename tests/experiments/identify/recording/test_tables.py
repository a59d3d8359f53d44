"""Columns of numbers from CSV, Parquet and WFDB; a broken file is told in one line."""
import numpy as np
import pytest

from experiments.identify.recording.tables import read_table
from plant.errors import InputError
from tests.experiments.identify.recording.bad_tables import good, write


def test_csv_round_trip(tmp_path):
    table, digest = read_table(write(tmp_path / "a.csv", good()))
    assert list(table) == ["time_s", "command", "reading_mmHg"] and len(digest) == 64
    assert np.allclose(table["reading_mmHg"], good()["reading_mmHg"])


@pytest.mark.parametrize(("text", "told"), [
    ("a,b\n1,2\n3\n", "line 3: 1 cells"), ("a,b\n1,x\n", "line 2: b = 'x' is not a number"), ("a,b\n", "no rows"),
    ("a,a\n1,2\n", "another name"), ("a;b\n1;2\n", "line 2"), ("a,b\n1,2,3\n", "line 2: 3 cells"),
])
def test_broken_csv(tmp_path, text, told):
    path = tmp_path / "a.csv"
    path.write_text(text)
    with pytest.raises(InputError) as found:
        read_table(path)
    assert told in str(found.value)


def test_not_text_and_not_there(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"a,b\n\xff\xfe\n")
    with pytest.raises(InputError, match="not UTF-8"):
        read_table(path)
    with pytest.raises(InputError, match="no such file"):
        read_table(tmp_path / "b.csv")


def test_parquet(tmp_path):
    arrow = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    parquet.write_table(arrow.table(good()), tmp_path / "a.parquet")
    table, _ = read_table(tmp_path / "a.parquet")
    assert np.array_equal(table["command"], good()["command"])


def test_broken_parquet(tmp_path):
    path = tmp_path / "a.parquet"
    path.write_bytes(b"nothing")
    with pytest.raises(InputError, match=r"pyarrow|not a readable Parquet"):
        read_table(path)


def test_wfdb(tmp_path):
    """Signals called like our columns, in mmHg; time comes from the rate."""
    wfdb = pytest.importorskip("wfdb")
    columns = good()
    signals = np.column_stack([columns["command"], columns["reading_mmHg"]])
    wfdb.wrsamp("a", fs=1000, units=["NU", "mmHg"], sig_name=["command", "reading_mmHg"], p_signal=signals,
                fmt=["32", "32"], write_dir=str(tmp_path))
    table, digest = read_table(tmp_path / "a")
    assert np.allclose(table["reading_mmHg"], columns["reading_mmHg"], atol=1e-4) and len(digest) == 64
    assert np.allclose(table["time_s"], columns["time_s"])
    assert set(read_table(tmp_path / "a.hea")[0]) == set(table)
    wfdb.wrsamp("b", fs=1000, units=["NU", "kPa"], sig_name=["command", "reading_mmHg"], p_signal=signals,
                fmt=["32", "32"], write_dir=str(tmp_path))
    with pytest.raises(InputError, match="is in kPa"):
        read_table(tmp_path / "b")
