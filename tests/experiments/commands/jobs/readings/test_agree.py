"""`cuffloop agree` as a whole."""
import json

import pytest


@pytest.fixture
def files(tmp_path):
    a, b = tmp_path / "a.csv", tmp_path / "b.csv"
    for path, extra in ((a, 1), (b, 0)):
        rows = (f"{i // 4},{i % 4},{100 + 9 * (i % 4) + extra * (i % 3)}\n" for i in range(24))
        path.write_text("subject,time_s,value\n" + "".join(rows))
    return a, b


def test_lines_and_files(cuffloop, files, tmp_path):
    out = tmp_path / "out"
    said = cuffloop("agree", *files, "--iso", "--zone", 2, "--out", out)
    assert said.status == 0 and said.err == ""
    assert "24 pairs of 6 subjects, in mmHg" in said.out and "criterion 2" in said.out and "100.0 %" in said.out
    assert sorted(p.name for p in out.iterdir()) == ["agree.json", "agreement.png", "trending.png"]


def test_json_alone(cuffloop, files):
    document = json.loads(cuffloop("agree", *files, "--json").out)
    assert document["limits"]["changing"]["subjects"] == 6 and document["percentage"]["null"] > 0.1


def test_bad_input_is_one_line(refusal, files, tmp_path):
    assert "no column 'output'" in refusal("agree", *files, "--column", "output")
    assert "--truth perhaps" in refusal("agree", *files, "--truth", "perhaps")
    assert "none.csv" in refusal("agree", files[0], tmp_path / "none.csv")
    assert "--zone -1" in refusal("agree", *files, "--zone", "-1")
