"""Somebody's firmware in a process of its own: planted faults at their exact tick, and nothing left behind."""
import os
import tempfile
from collections.abc import Iterator
from multiprocessing import active_children
from pathlib import Path

import numpy as np
import pytest

from experiments.firmware.foreign.host import Host
from experiments.firmware.foreign.watch import Watched, run_foreign
from experiments.firmware.package import contents
from experiments.firmware.package.package import package_files
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Ready, prepare, run_ready
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.foreign.planted import TICK, planted
from tests.experiments.firmware.helper import needs_gcc

pytestmark = needs_gcc


def ready(rig: str = "wrist", seconds: float = 9.0) -> Ready:
    """A short run."""
    made = load_rig(rig)
    return prepare(made, synthesise(SyntheticPressure(), made.timing.period_s, seconds, 1))


@pytest.fixture(scope="module")
def host() -> Iterator[Host]:
    """Forks of it run what fails: a process of its own for each takes seconds."""
    with Host() as made:
        yield made


def watched(folder: Path, fault: str, host: Host | None = None, **more: str) -> Watched:
    """What became of a planted fault."""
    return run_foreign(ready(), planted(folder, fault, **more), host=host)


@pytest.mark.parametrize(("fault", "kind", "word"), [
    ("segv", "crash", "SIGSEGV"), ("division", "crash", "SIGFPE"), ("stack", "crash", "SIGABRT"),
    ("exit", "exit", "status 3"), ("hang", "hang", "no progress"), ("nan", "not a number", "finite"),
    ("range", "range", "beyond"),
])
def test_planted_faults_are_found_at_their_tick(fault: str, kind: str, word: str, tmp_path: Path, host: Host) -> None:
    """With everything up to there, and the samples that led to it."""
    if fault == "division" and os.uname().machine not in ("x86_64", "i686"):
        pytest.skip("a division by zero is no trap on this processor")
    found = watched(tmp_path, fault, host)
    assert [(f.kind, f.tick) for f in found.findings] == [(kind, TICK)]
    assert word in found.findings[0].text
    assert found.run is not None
    assert len(found.run.channels["cuff_mmHg"]) >= TICK
    if fault != "range":
        assert len(found.samples) == TICK + 1
        assert found.samples[-1, 0] == TICK
        assert np.array_equal(found.samples[:, 0], np.arange(TICK + 1))


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No file, no folder, no process."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    others = set(active_children())  # of tests that ran here before
    for fault in ("none", "exit"):
        watched(tmp_path, fault)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["exit.c", "none.c"]
    assert set(active_children()) <= others


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_our_own_law_as_c_runs_with_the_bits_of_the_simulator(
    rig: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The package's own port in the loop, against the same loop with compiled Python: no value differs."""
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS"):
        monkeypatch.setattr(contents, name, 20)
    for name, text in package_files(load_rig(rig), "double")[1].items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    made = ready(rig, 6.0)
    own, foreign = run_ready(made), run_foreign(made, tmp_path)
    assert foreign.findings == []
    assert foreign.run is not None
    for name in ("cuff_mmHg", "light", "reading_mmHg", "command", "mode", "limited"):
        assert np.array_equal(own.channels[name], foreign.run.channels[name]), name


@pytest.mark.parametrize(("more", "why"), [({"abi": "1u"}, "SERVO_ABI"), ({"abi": "no_such_name"}, "does not compile")])
def test_what_cannot_begin_is_refused(more: dict[str, str], why: str, tmp_path: Path, host: Host) -> None:
    """One line that names the file."""
    with pytest.raises(InputError, match=rf"none\.c: .*{why}"):
        watched(tmp_path, "none", host, **more)


def test_what_is_no_firmware_is_refused(tmp_path: Path, host: Host) -> None:
    """Missing files, empty folders, text under the name of a library."""
    with pytest.raises(InputError, match="no such file"):
        run_foreign(ready(), tmp_path / "missing.c")
    with pytest.raises(InputError, match="no C file"):
        run_foreign(ready(), tmp_path)
    (tmp_path / "text.so").write_text("not a library", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be loaded"):
        run_foreign(ready(), tmp_path / "text.so", host=host)


def test_a_start_that_fails_is_a_finding(tmp_path: Path, host: Host) -> None:
    """Before the first tick."""
    found = watched(tmp_path, "none", host, start="exit(5);")
    assert found.run is None
    assert [(f.kind, f.tick) for f in found.findings] == [("exit", -1)]
    assert "servo_start" in found.findings[0].text
