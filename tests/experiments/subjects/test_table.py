"""Fingers as a table: the same bits back, units in the header, one clear line for what is wrong."""
import csv

import pytest

from experiments.subjects.finger import DEFECTS, PARTS, Finger, Fit
from experiments.subjects.population import sample_fingers, spoil
from experiments.subjects.spreads import GROUPS
from experiments.subjects.table import finger_row, headings, load_fingers, save_fingers
from plant.errors import InputError
from plant.finger.tone import ToneDrive

FINGERS = sample_fingers(3)


@pytest.fixture
def table(tmp_path):
    """Three fingers in a file."""
    path = tmp_path / "fingers.csv"
    save_fingers(path, FINGERS)
    return path


def refused(path):
    with pytest.raises(InputError) as refusal:
        load_fingers(path)
    line = str(refusal.value)
    assert line.isprintable() and len(line) < 600
    return line


def test_all_fingers_come_back_to_the_bit(tmp_path):
    fingers = [f for group in GROUPS for f in sample_fingers(5, group)]
    fingers += [spoil(fingers[0], defect) for defect in DEFECTS]
    fingers += [Finger("by hand, with a comma", "mine", 2**63 - 1, tone=ToneDrive(level=1 / 3))]
    save_fingers(tmp_path / "fingers.csv", fingers)
    loaded = load_fingers(str(tmp_path / "fingers.csv"))
    assert loaded == fingers
    for finger in loaded:
        assert all(type(getattr(finger, name)) is part for name, part in PARTS.items())
        assert all(type(value) in (float, bool) for part in PARTS for value in getattr(finger, part))
    save_fingers(tmp_path / "again.csv", loaded)
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "fingers.csv").read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again.csv", "fingers.csv"]


def test_no_fingers_is_a_header_alone(tmp_path):
    save_fingers(tmp_path / "none.csv", [])
    assert (tmp_path / "none.csv").read_text().count("\n") == 1
    assert load_fingers(tmp_path / "none.csv") == []


def test_the_header_names_units(table):
    header = next(csv.reader(table.open()))
    assert header == list(headings().values())
    assert {"name", "seed", "artery.creep_time_s [s]", "pressure.systolic_mmHg [mmHg]", "fit.slack [1]"} <= set(header)
    assert list(finger_row(FINGERS[0])) == list(headings())


def test_columns_in_another_order_and_what_spreadsheets_add(table):
    rows = list(csv.reader(table.open()))
    with table.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows([*(row[::-1] for row in rows), []])
    assert load_fingers(table) == FINGERS


def edited(table, column, value, line=3):
    """The table with one cell changed, `line` counted from 1 with the header."""
    rows = list(csv.reader(table.open()))
    index = rows[0].index(headings().get(column, column))
    rows[line - 1][index] = value
    with table.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    return refused(table)


@pytest.mark.parametrize(("column", "value", "said"), [
    ("artery.creep_time_s", "0.01", "line 3: artery.creep_time_s = 0.01 must be a number from 0.05 to 1000 s"),
    ("artery.creep_time_s", "four", "line 3: artery.creep_time_s = 'four' must be a number from 0.05 to 1000 s"),
    ("artery.creep_time_s", "", "line 3: artery.creep_time_s = '' must be a number from"),
    ("artery.creep_time_s", "1_0", "line 3: artery.creep_time_s = '1_0' must be a number from"),
    ("fit.transmission", "nan", "line 3: fit.transmission = nan must be a number from 0.3 to 1 "),
    ("light.noise", "inf", "line 3: light.noise = inf must be a number from 0 to 0.1 "),
    ("pressure.diastolic_mmHg", "199", "must be at least 5 mmHg above pressure.diastolic_mmHg = 199 mmHg"),
    ("seed", "1.5", "line 3: seed = '1.5' must be a whole number from 0 to 9223372036854775807"),
    ("seed", "-1", "line 3: seed = '-1' must be a whole number"),
    ("seed", "9" * 30, "must be a whole number"),
    ("defect", "lost", "line 3: defect = 'lost' must be empty or one of no_pulse, light_saturated, loose_cuff"),
    ("name", "", "line 3: name = '' must be text of one line, of 1 to 100 characters"),
    ("name", "a\x1b[2J", "line 3: name = "),
    ("name", FINGERS[0].name, f"line 3: name = '{FINGERS[0].name}' stands there twice"),
    ("group", "x" * 101, "line 3: group = 'xxx"),
])
def test_a_wrong_cell_is_named_with_file_line_column_and_range(table, column, value, said):
    line = edited(table, column, value)
    assert line.startswith(f"{table}: line 3: ") and said in line


@pytest.mark.parametrize(("column", "value", "said"), [
    ("vein.filling_s", "vein.filling_s [ms]", "column 'vein.filling_s [ms]' must be headed 'vein.filling_s [s]'"),
    ("vein.filling_s", "vein.filling_s", "must be headed 'vein.filling_s [s]'"),
    ("vein.filling_s", "colour", "column 'colour' is not one of a finger's; use name, group, seed, defect or PART."),
    ("vein.filling_s", "vein.emptying_s [s]", "column 'vein.emptying_s [s]' stands there twice"),
])
def test_a_wrong_header_is_named(table, column, value, said):
    line = edited(table, column, value, line=1)
    assert line.startswith(f"{table}: line 1: ") and said in line


def test_a_missing_column_is_named(table):
    rows = list(csv.reader(table.open()))
    with table.open("w", newline="") as file:
        csv.writer(file).writerows([row[:-2] for row in rows])
    assert "line 1: column 'fit.slack [1]' and 1 more is missing" in refused(table)


def test_a_row_of_another_length(table):
    text = table.read_text().splitlines()
    table.write_text("\n".join([*text[:2], text[2] + ",1"]))
    assert f"line 3: {len(headings()) + 1} cells, the header has {len(headings())}" in refused(table)
    table.write_text("\n".join([*text[:2], text[2].replace(",", ";")]))
    assert "line 3: 1 cells" in refused(table) and "another separator" in refused(table)


def test_files_that_are_no_tables(tmp_path):
    assert refused(tmp_path / "none.csv").endswith("none.csv: no such file")
    assert "cannot be read" in refused(tmp_path)
    bad = tmp_path / "bad.csv"
    bad.write_bytes(b"")
    assert "column 'name' and" in refused(bad)
    bad.write_bytes(b"name,\xff\xfe\n")
    assert "not UTF-8 text" in refused(bad)
    bad.write_bytes(b'name,"group\n')
    assert "not a CSV table" in refused(bad)
    bad.write_bytes(b"name\x00,group\n")
    assert "bad.csv: " in refused(bad)
    bad.write_bytes(b"name," + b"x" * 200_000 + b"\n")
    assert "not a CSV table" in refused(bad)


@pytest.mark.parametrize(("finger", "said"), [
    (FINGERS[0]._replace(fit=Fit(0.1)), "fit.transmission = 0.1"),
    (FINGERS[0]._replace(name=" padded"), "without blanks at its ends"),
    (FINGERS[0]._replace(name="two\nlines"), "must be text of one line"),
    (FINGERS[1], "stands there twice"),
])
def test_what_could_not_be_loaded_is_not_saved(tmp_path, finger, said):
    with pytest.raises(InputError) as refusal:
        save_fingers(tmp_path / "bad.csv", [*FINGERS, finger])
    assert said in str(refusal.value) and str(refusal.value).isprintable()
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        save_fingers(tmp_path / "nowhere" / "fingers.csv", FINGERS)
