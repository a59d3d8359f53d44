"""A package as its user has it: the same bytes twice, rebuilt where it stands, and complaints about a changed one."""
import json
from pathlib import Path

import pytest

from experiments.firmware.package import contents
from experiments.firmware.package.package import SUMS, changed_files, package_files, rebuild
from experiments.firmware.package.texts import SOURCES
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.firmware.helper import needs_gcc


@pytest.fixture()
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Vectors of few ticks."""
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS"):
        monkeypatch.setattr(contents, name, 50)


def written(folder: Path, rig: str = "cabinet") -> Path:
    """A package on disk."""
    for name, text in package_files(load_rig(rig), "double")[1].items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@needs_gcc
@pytest.mark.usefixtures("short")
def test_a_package_is_the_same_twice_and_checks_itself(tmp_path: Path) -> None:
    """The same rig gives the same bytes; a change of one digit is found, by name."""
    first, second = (package_files(load_rig("cabinet"), "double")[1] for _ in range(2))
    assert first == second
    folder = written(tmp_path)
    assert rebuild(folder).passed
    assert {*SOURCES, "README.md", "TRACE.csv", "servo_port.c"} <= set(first)
    text = (folder / "servo.c").read_text(encoding="utf-8")
    (folder / "servo.c").write_text(text.replace("0.5", "0.25", 1), encoding="utf-8")
    assert changed_files(folder) == ["servo.c"]
    assert not rebuild(folder).passed


@needs_gcc
@pytest.mark.usefixtures("short")
def test_a_wrong_law_is_found_by_its_bits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where the sums of the files have been made to fit."""
    folder = written(tmp_path)
    text = (folder / "servo.c").read_text(encoding="utf-8")
    wrong = text.replace("c->proportional * clean", "c->integral_new * clean")
    assert wrong != text
    (folder / "servo.c").write_text(wrong, encoding="utf-8")
    monkeypatch.setattr("experiments.firmware.package.package.changed_files", lambda folder: [])
    found = rebuild(folder)
    assert found.status == 1
    assert any("differ" in line for line in found.lines)


def test_what_is_no_package_is_refused(tmp_path: Path) -> None:
    """One line each."""
    with pytest.raises(InputError, match="not a package"):
        rebuild(tmp_path)
    (tmp_path / SUMS).write_text("nonsense\n", encoding="utf-8")
    with pytest.raises(InputError, match="two spaces"):
        rebuild(tmp_path)
    with pytest.raises(InputError, match="one of double, single, fixed"):
        package_files(load_rig("wrist"), "half")
    with pytest.raises(InputError, match="--words 12: goes with --number fixed"):
        package_files(load_rig("wrist"), "double", 12)
    with pytest.raises(InputError, match="from 8 to 32"):
        package_files(load_rig("wrist"), "fixed", 40)


@pytest.mark.usefixtures("short")
def test_a_package_on_words_says_its_formats() -> None:
    """In the report, in the README, and in the title of the source."""
    made, files = package_files(load_rig("wrist"), "fixed", 12)
    told = json.loads(files["report.json"])
    assert told["number"] == "fixed" and told["words"] == 12 and max(told["sum_bits"].values()) <= 63
    assert told["formats"]["error"] == made.formats.error == 12 - 1 - 6
    assert "| error | ±64 mmHg | 5 |" in files["README.md"]
    assert "law on words of 12 bits" in files["servo.c"]
