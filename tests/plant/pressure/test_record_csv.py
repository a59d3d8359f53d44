import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.pressure import record_csv
from plant.pressure.record import load_record
from plant.pressure.record_csv import read_csv

TIME = np.arange(501) / 100
PRESSURE = np.round(90 + 20 * np.sin(2 * np.pi * 1.3 * TIME), 3)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("records")


def written(folder, content, name="a.csv"):
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def text(time=TIME, pressure=PRESSURE, header="time_s,pressure_mmHg", end="\n"):
    return header + end + "".join(f"{t:.6g},{p:.6g}{end}" for t, p in zip(time, pressure, strict=True))


def refusal(path):
    with pytest.raises(InputError) as caught:
        load_record(path, 1e-3)
    message = str(caught.value)
    assert "\n" not in message and len(message) < 500
    return message


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_reads_the_numbers_back_whatever_the_line_ends(folder, end, mark):
    record = read_csv(written(folder, mark + text(end=end).encode()))
    assert np.array_equal(record.time_s, TIME) and np.array_equal(record.pressure_mmHg, PRESSURE)
    assert record.good.all() and record.rows[0] == 2


def test_third_column_marks_what_is_usable(folder):
    lines = [f"{t:g},{'nan' if i == 100 else p},{0 if 95 < i < 105 else 1}"
             for i, (t, p) in enumerate(zip(TIME, PRESSURE, strict=True))]
    path = written(folder, "time_s, pressure_mmHg, usable\n" + "\n".join(lines) + "\n")
    trace = load_record(path, 1e-3)
    assert np.isfinite(trace.pressure_mmHg).all()
    assert not trace.usable[1000] and trace.usable[700] and trace.usable[1300]
    lines[7] = "0.07,90,2"
    wrong = written(folder, "time_s,pressure_mmHg,usable\n" + "\n".join(lines))
    assert "line 9: usable = 2 must be 0 or 1" in refusal(wrong)


def test_columns_by_their_own_names(folder):
    """Whatever their order, and others left alone."""
    lines = [f"x,{p:.6g},{i % 2},{t:.6g}" for i, (t, p) in enumerate(zip(TIME, PRESSURE, strict=True))]
    numbers = "\n".join(line.replace("x", "7") for line in lines)
    path = written(folder, f"hr, p ,ok,t\n{numbers}\n")
    record = read_csv(path, ("t", "p"))
    assert np.array_equal(record.time_s, TIME) and np.array_equal(record.pressure_mmHg, PRESSURE) and record.good.all()
    assert not read_csv(path, ("t", "p", "ok")).good[::2].any()
    for columns, word in ((("t", "pressure"), "one column 'pressure'"), (("t",), "two or three"),
                          (("t", "t"), "two or"), (("t", ""), "two or")):
        with pytest.raises(InputError, match=word):
            read_csv(path, columns)
    broken = written(folder, "hr,p,t\n7,80,0\n7,oops,0.1\n")
    with pytest.raises(InputError, match="line 3: p = 'oops' is not a number"):
        read_csv(broken, ("t", "p"))


def test_empty_lines_do_not_move_the_line_that_is_named(folder):
    lines = text().splitlines()
    lines[300] = "2.99,999"
    assert "line 301" in refusal(written(folder, "\n".join(lines)))
    assert "line 304" in refusal(written(folder, "\n".join([*lines[:10], "", "", "", *lines[10:], "", ""])))


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("time,pressure", "header 'time,pressure' must be time_s,pressure_mmHg"),
        ("time_s;pressure_mmHg", "header"),
        ("pressure_mmHg,time_s", "header"),
        ("time_s,pressure_mmHg,flow", "header"),
        ("time_s,pressure_kPa", "multiply kPa by 7.50062"),
        ("0.00,90.1", "header '0.00,90.1'"),
    ],
)
def test_header_is_strict(folder, header, told):
    assert told in refusal(written(folder, text(header=header)))


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("0.05,abc", "line 7: pressure_mmHg = 'abc' is not a number"),
        ("0.05,", "line 7: pressure_mmHg = '' is not a number"),
        ("0.05,1_0", "pressure_mmHg = '1_0' is not a number"),
        ("x,90", "line 7: time_s = 'x' is not a number"),
        ("0.05", "line 7: 1 cells"),
        ("0.05,90,1", "line 7: 3 cells"),
        ("0,05,90,0", "line 7: 4 cells in '0,05,90,0', 2 are needed (decimal comma"),
        ("0.05;90", "line 7: 1 cells in '0.05;90', 2 are needed (decimal comma"),
        ("0.05,nan", "line 7: pressure_mmHg = nan is not a finite number"),
        ("inf,90", "line 7: time_s = inf is not a finite number"),
    ],
)
def test_a_broken_row_is_named(folder, row, told):
    lines = text().splitlines()
    lines[6] = row
    assert told in refusal(written(folder, "\n".join(lines)))


def test_every_row_with_the_same_wrong_number_of_cells(folder):
    body = "".join(f"{t:g},{p:g},7\n" for t, p in zip(TIME, PRESSURE, strict=True))
    assert "line 2: 3 cells" in refusal(written(folder, "time_s,pressure_mmHg\n" + body))


def test_files_that_are_none(folder):
    assert "No such file" in refusal(folder / "absent.csv")
    assert "directory" in refusal(folder)
    assert "empty file" in refusal(written(folder, ""))
    assert "no rows" in refusal(written(folder, "time_s,pressure_mmHg\n"))
    assert "not UTF-8" in refusal(written(folder, text().encode("utf-16")))
    assert "not UTF-8" in refusal(written(folder, text().encode() + b"\xff\xfe\xff"))
    assert "over 10000 characters" in refusal(written(folder, "a" * 20_000))
    assert "cannot be read" in refusal("a\x00b.csv")
    assert "cannot be read" in refusal("x" * 5000)
    assert "\\n" in refusal(folder / "new\nline.csv")


def test_more_rows_than_allowed(folder, monkeypatch):
    monkeypatch.setattr(record_csv, "MOST_ROWS", 400)
    assert "more than 400 rows" in refusal(written(folder, text()))
    monkeypatch.setattr(record_csv, "MOST_ROWS", len(TIME))
    assert len(read_csv(written(folder, text())).time_s) == len(TIME)  # the header is no row
    monkeypatch.setattr(record_csv, "MOST_ROWS", len(TIME) - 1)
    assert "rows" in refusal(written(folder, text()))


known = st.sampled_from(["nan", "inf", "1e999", "-", "0x10", '"90"', "1,0", "\x00", "∞"])
garbage = st.one_of(st.text(max_size=12), known)


@given(st.binary(max_size=300))
@settings(max_examples=80, deadline=None)
def test_random_bytes_are_refused_in_one_line(folder, content):
    refusal(written(folder, content, "b.csv"))
    refusal(written(folder, b"time_s,pressure_mmHg\n" + content, "b.csv"))


@given(st.integers(0, 500), st.integers(0, 1), garbage)
@settings(max_examples=80, deadline=None)
def test_a_random_cell_is_read_or_refused_in_one_line(folder, row, column, cell):
    rows = [[f"{t:g}", f"{p:g}"] for t, p in zip(TIME, PRESSURE, strict=True)]
    rows[row][column] = cell
    path = written(folder, "time_s,pressure_mmHg\n" + "\n".join(",".join(r) for r in rows), "c.csv")
    try:
        trace = load_record(path, 1e-3)
    except InputError as error:
        assert "\n" not in str(error) and "c.csv" in str(error)
    else:
        assert np.isfinite(trace.pressure_mmHg).all()


@given(st.lists(st.integers(0, 500), min_size=2, max_size=2, unique=True))
@settings(max_examples=40, deadline=None)
def test_shuffled_times_are_refused(folder, swap):
    time = TIME.copy()
    time[swap] = time[swap[::-1]]
    assert any(word in refusal(written(folder, text(time=time), "d.csv")) for word in ("runs back", "gap"))


@given(st.sampled_from([1 / 7.50062, 133.322, 0.00133322, 1000.0, 0.0]))
@settings(max_examples=5, deadline=None)
def test_another_unit_is_refused(folder, factor):
    refusal(written(folder, text(pressure=PRESSURE * factor), "e.csv"))
