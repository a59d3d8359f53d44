"""A package held against tools that are not ours: CMake builds and runs it, Cppcheck looks for MISRA C:2012 numbers."""
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from experiments.firmware.package import contents
from experiments.firmware.package.package import package_files
from experiments.rigs.rig import load_rig

CMAKE = shutil.which("cmake")
CPPCHECK = shutil.which("cppcheck", path=str(Path(sys.executable).parent)) or shutil.which("cppcheck")


@pytest.fixture(params=["double", "single"])
def package(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A package with few vectors."""
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS", "QUICK_LAW_TICKS", "QUICK_PROTECTION_TICKS",
                 "QUICK_LASTING_TICKS"):
        monkeypatch.setattr(contents, name, 20)
    for name, text in package_files(load_rig("wrist"), request.param)[1].items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    yield tmp_path


@pytest.mark.skipif(CMAKE is None or shutil.which("gcc") is None, reason="no cmake or no gcc")
def test_cmake_builds_it_and_its_test_passes(package: Path) -> None:
    """By the package's own CMakeLists.txt."""
    assert CMAKE
    build = package / "build"
    for words in ([CMAKE, "-S", package, "-B", build], [CMAKE, "--build", build]):
        subprocess.run(words, check=True, capture_output=True)
    done = subprocess.run([build / "vectors_check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "0 of" in done.stdout


@pytest.mark.skipif(CPPCHECK is None, reason="no cppcheck")
def test_no_number_is_found_that_is_no_listed_deviation(package: Path) -> None:
    """In the firmware, its settings and its port."""
    assert CPPCHECK
    sources = [str(package / name) for name in ("servo.c", "servo_settings.c", "servo_port.c")]
    words = [CPPCHECK, "--addon=misra", "--std=c99", "--enable=style", "--quiet", "--template={id}", *sources]
    done = subprocess.run(words, capture_output=True, text=True, timeout=300, check=False)
    found = set(re.findall(r"misra-c2012-(\d+\.\d+)", done.stderr + done.stdout))
    listed = set(re.findall(r"^\| (\d+\.\d+)", (package / "deviations.md").read_text(encoding="utf-8"), re.M))
    assert found
    assert found <= listed
