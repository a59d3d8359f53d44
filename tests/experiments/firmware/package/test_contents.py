"""What is in a package: no value differs from the simulator's, in C that a strict compiler has nothing against."""
import subprocess
from pathlib import Path

import pytest

from experiments.firmware.emit.kinds import DOUBLE, SINGLE, Numbers
from experiments.firmware.emit.text import header, source
from experiments.firmware.package import contents
from experiments.firmware.package.contents import Contents, contents_of
from experiments.firmware.package.settings_text import settings_header, settings_source
from experiments.firmware.package.vectors_text import vectors_header, vectors_source
from experiments.rigs.rig import load_rig
from tests.experiments.firmware.helper import GCC, STRICT, needs_gcc


def compiled_check(made: Contents, folder: Path, *flags: str) -> subprocess.CompletedProcess[str]:
    """Build the check of a package with these flags, and run it."""
    texts = {
        "servo.h": header(made.unit, made.roots, "servo", "A test."),
        "servo.c": source(made.unit, made.roots, "servo", "A test."),
        "servo_settings.h": settings_header(made.settings, "servo"),
        "servo_settings.c": settings_source(made.settings, made.numbers, "servo"),
        "vectors.h": vectors_header(made.suites, made.numbers),
        "vectors.c": vectors_source(made.suites, made.numbers, "servo"),
        "check.c": (Path(contents.__file__).parent / "check.c").read_text(encoding="utf-8"),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    assert GCC is not None
    names = [name for name in texts if name.endswith(".c")]
    subprocess.run([GCC, *STRICT, *flags, *names, "-o", "check", "-lm"], cwd=folder, check=True)
    return subprocess.run([folder / "check"], cwd=folder, capture_output=True, text=True, check=False)


@needs_gcc
@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_double_precision_has_the_bits_of_the_simulator(rig: str, tmp_path: Path) -> None:
    """At least 2.7 million values of the law and as many of the protection, every detector having fired."""
    made = contents_of(load_rig(rig), DOUBLE)
    assert made.suites[0].rows.size >= 2_700_000
    assert made.suites[1].rows.size >= 2_700_000
    assert len(made.fired) == len(made.suites[1].outputs) - sum(
        not name.endswith(".fires") for name in made.suites[1].outputs)
    done = compiled_check(made, tmp_path, "-O2")
    assert done.returncode == 0, done.stderr
    assert f"{made.suites[0].rows.size} values, 0 of" in done.stdout


@needs_gcc
def test_single_precision_has_the_bits_of_the_twins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without optimisation and with it."""
    monkeypatch.setattr(contents, "QUICK_LAW_TICKS", 4000)
    monkeypatch.setattr(contents, "QUICK_PROTECTION_TICKS", 60)
    monkeypatch.setattr(contents, "QUICK_LASTING_TICKS", 60)
    made = contents_of(load_rig("wrist"), SINGLE)
    for flag in ("-O0", "-O2"):
        done = compiled_check(made, tmp_path, flag)
        assert done.returncode == 0, done.stderr


@needs_gcc
@pytest.mark.parametrize("numbers", [DOUBLE, SINGLE])
def test_a_build_that_contracts_fails_loudly(
    numbers: Numbers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the machine has fused multiply-add, a build that uses it ends with status 2."""
    if "fma" not in Path("/proc/cpuinfo").read_text(encoding="utf-8"):
        pytest.skip("this machine has no fused multiply-add")
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS"):
        for quick in ("", "QUICK_"):
            monkeypatch.setattr(contents, quick + name, 20)
    made = contents_of(load_rig("wrist"), numbers)
    done = compiled_check(made, tmp_path, "-O2", "-mfma", "-ffp-contract=fast")
    assert done.returncode == 2
    assert "-ffp-contract=off" in done.stderr


@needs_gcc
def test_a_law_on_words_has_the_bits_of_the_simulator(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With words that saturate, and states of 64 bits; no signed sum overflows."""
    monkeypatch.setattr(contents, "LAW_TICKS", 20_000)
    monkeypatch.setattr(contents, "PROTECTION_TICKS", 20)
    monkeypatch.setattr(contents, "LASTING_TICKS", 20)
    made = contents_of(load_rig("wrist"), DOUBLE, 16)
    assert made.number == "fixed" and made.saturated_ticks > 500
    done = compiled_check(made, tmp_path, "-O2", *UNDEFINED)
    assert done.returncode == 0, done.stderr


UNDEFINED = ("-fsanitize=undefined", "-fno-sanitize-recover=all")  # an overflow of a signed sum ends the run


@needs_gcc
@pytest.mark.slow
@pytest.mark.parametrize("words", [16, 24, 32])
@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_all_words_of_both_rigs_have_them(rig: str, words: int, tmp_path: Path) -> None:
    """At least 400,000 values with 10,000 saturated ticks."""
    made = contents_of(load_rig(rig), DOUBLE, words)
    assert made.suites[0].rows.size >= 400_000 and made.saturated_ticks >= 10_000
    for flags in (("-O0",), ("-O2",), ("-O1", *UNDEFINED)):
        done = compiled_check(made, tmp_path, *flags)
        assert done.returncode == 0, done.stderr
