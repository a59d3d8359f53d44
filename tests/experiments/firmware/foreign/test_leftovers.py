"""Good and bad runs in great number leave no process, no file and no shared memory behind."""
import os
import tempfile
from multiprocessing import active_children
from pathlib import Path

import pytest

from experiments.firmware.foreign.watch import run_foreign
from tests.experiments.firmware.foreign.planted import FAULTS, planted
from tests.experiments.firmware.foreign.test_watch import ready
from tests.experiments.firmware.helper import needs_gcc

RUNS = int(os.environ.get("CUFFLOOP_RUNS", "1000"))
SHARED = Path("/dev/shm")


def own_processes() -> set[str]:
    """Children of this process, ended ones that nobody asked after included."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except OSError:
            continue
        if text.rpartition(")")[2].split()[1] == str(os.getpid()):
            found.add(f"{path.parent.name} {text.split('(')[1].split(')')[0]}")
    return found


@pytest.mark.slow
@needs_gcc
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are counted by /proc")
def test_a_thousand_runs_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of them good; a tenth each of the faults, at a tick of their own. CUFFLOOP_RUNS sets how many."""
    kinds = ["none", "segv", "none", "exit", "none", "nan", "none", "stack", "none", "division"]
    assert set(kinds) <= FAULTS.keys()
    made, sources = ready("wrist", 5.2), tmp_path / "sources"
    sources.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    run_foreign(made, planted(sources, "none"))
    processes, shared = own_processes(), set(SHARED.glob("*")) if SHARED.is_dir() else set()
    files = len(os.listdir("/proc/self/fd"))
    for k in range(RUNS):
        kind = kinds[k % len(kinds)]
        found = run_foreign(made, planted(sources, kind, tick=5 + k % 4000))
        assert bool(found.findings) == (kind != "none")
    assert own_processes() <= processes
    assert active_children() == []
    assert len(os.listdir("/proc/self/fd")) <= files
    assert [path.name for path in tmp_path.iterdir()] == ["sources"]
    left = (set(SHARED.glob("*")) if SHARED.is_dir() else set()) - shared
    assert not [path for path in left if path.owner() == Path.home().owner() and "cuffloop" in path.name]
