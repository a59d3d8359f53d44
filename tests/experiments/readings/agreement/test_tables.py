from pathlib import Path

import pytest

from experiments.readings.agreement.tables import matched, read_measured, replicates
from plant.errors import InputError


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_rows_are_matched_by_time_or_by_order(tmp_path: Path) -> None:
    a = read_measured(written(tmp_path, "a.csv", "subject,time_s,value\nx,0,1\nx,60,2\ny,0,3\ny,10,9\n"))
    b = read_measured(written(tmp_path, "b.csv", "time_s,subject,value,other\n60.2,x,20,z\n0,x,10,z\n0,y,30,z\n"))
    pairs = matched(a, b)
    assert pairs.tested.tolist() == [1, 2, 3] and pairs.reference.tolist() == [10, 20, 30]
    c = read_measured(written(tmp_path, "c.csv", "subject,output\nx,1\nx,2\ny,3\n"), "output")
    d = read_measured(written(tmp_path, "d.csv", "subject,value\ny,30\nx,10\nx,20\n"))
    assert matched(c, d).reference.tolist() == [10, 20, 30]


def test_replicates_need_no_pairs(tmp_path: Path) -> None:
    a = read_measured(written(tmp_path, "a.csv", "subject,value\nx,1\nx,2\ny,3\nz,1\n"))
    b = read_measured(written(tmp_path, "b.csv", "subject,value\nx,1\ny,3\ny,4\n"))
    x, y = replicates(a, b)
    assert x.subject.tolist() == [0, 0, 1] and y.subject.tolist() == [0, 1, 1]


@pytest.mark.parametrize(("text", "said"), [
    ("subject,output\nx,1\n", "has no column 'value'; its columns are subject, output"),
    ("subject,value\nx,1\nx,much\n", "line 3: value = 'much' is not a number"),
    ("subject,value\nx,inf\n", "line 2: value = 'inf' is not a finite number"),
    ("subject,time_s,value\nx,,3\n", "line 2: time_s"), ("subject,value\n", "no values in column 'value'"),
    ("", "its columns are none"),
])
def test_bad_files_are_told_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as complaint:
        read_measured(written(tmp_path, "bad.csv", text))
    assert said in str(complaint.value) and "bad.csv" in str(complaint.value)


def test_what_does_not_pair_off_is_refused(tmp_path: Path) -> None:
    a = read_measured(written(tmp_path, "a.csv", "subject,value\nx,1\nx,2\ny,3\n"))
    b = read_measured(written(tmp_path, "b.csv", "subject,value\nx,1\ny,3\n"))
    with pytest.raises(InputError, match="do not pair off by subject"):
        matched(a, b)
    with pytest.raises(InputError, match="directory"):
        read_measured(tmp_path)
    with pytest.raises(InputError, match="0 subjects in common"):
        replicates(a, b._replace(subject=["p", "q"]))
