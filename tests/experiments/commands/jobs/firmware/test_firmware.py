"""`cuffloop firmware`: a package, its check, and bad input."""
import json

import pytest

from experiments.firmware.package import contents
from tests.experiments.commands.jobs.command_line import files
from tests.experiments.firmware.helper import needs_gcc


@pytest.fixture(autouse=True)
def short(monkeypatch):
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS"):
        monkeypatch.setattr(contents, name, 60)


@needs_gcc
def test_a_package_is_written_and_checked(cuffloop, tmp_path):
    said = cuffloop("firmware", "cabinet", "--out", tmp_path / "out")
    assert said.status == 0 and said.err == "" and "double precision" in said.out
    assert {"servo.c", "servo.h", "SHA256SUMS", "report.json"} <= set(files(tmp_path / "out"))
    checked = cuffloop("firmware", "--check", tmp_path / "out", "--json")
    assert checked.status == 0 and json.loads(checked.out)["passed"]
    (tmp_path / "out" / "servo.c").write_text("int nothing;\n", encoding="utf-8")
    broken = cuffloop("firmware", "--check", tmp_path / "out")
    assert broken.status == 1 and "servo.c: missing or changed" in broken.out and "FAIL" in broken.out


@pytest.mark.parametrize(("words", "why"), [
    (("--number", "half"), "one of double, single"), (("--check", "nowhere"), "not a package"),
    (("--words", "12"), "--words 12: goes with --number fixed"),
    (("--number", "fixed", "--words", "40"), "from 8 to 32"),
    (("--check", ".", "--out", "x"), "--out does not go with --check"),
])
def test_bad_input(cuffloop, words, why):
    said = cuffloop("firmware", *words)
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""
