"""Good and bad runs in great number leave no process, no file and no shared memory behind."""
import os
import tempfile
from multiprocessing import active_children
from pathlib import Path

import pytest

from experiments.firmware.foreign.host import Host
from experiments.firmware.foreign.watch import run_foreign
from tests.experiments.firmware.foreign.planted import FAULTS, planted
from tests.experiments.firmware.foreign.test_watch import ready
from tests.experiments.firmware.helper import needs_gcc

RUNS = int(os.environ.get("CUFFLOOP_RUNS", "1000"))
ALONE = 50  # every so many runs in a process of its own, the others in forks of a host
KINDS = ("none", "segv", "none", "exit", "none", "nan", "none", "stack", "none", "division")
SHARED = Path("/dev/shm")


def own_processes() -> set[str]:
    """Descendants of this process, ended ones that nobody asked after included."""
    parents: dict[str, tuple[str, str]] = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except OSError:
            continue
        parents[path.parent.name] = text.rpartition(")")[2].split()[1], text.split("(")[1].split(")")[0]
    found, before = {str(os.getpid())}, 0
    while len(found) > before:
        before = len(found)
        found |= {number for number, (parent, _) in parents.items() if parent in found}
    return {f"{number} {parents[number][1]}" for number in found if number in parents}


def own_shared() -> set[Path]:
    """What of shared memory and named semaphores (`sem.mp-*`) is this user's."""
    names = SHARED.glob("*") if SHARED.is_dir() else iter(())
    return {path for path in names if path.exists() and path.stat().st_uid == os.getuid()
            and ("cuffloop" in path.name or path.name.startswith(("sem.mp-", "psm_", "pym-")))}


@pytest.mark.slow
@needs_gcc
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are counted by /proc")
def test_a_thousand_runs_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of them good; a tenth each of the faults, at a tick of their own, and one hang. CUFFLOOP_RUNS sets how many.

    A run that is to die needs no tick beyond that, and one that is good shows as much in half a second of the loop.
    """
    assert set(KINDS) <= FAULTS.keys()
    made, sources = ready("wrist", 5.2), tmp_path / "sources"
    short = made._replace(trace=made.trace._replace(pressure_mmHg=made.trace.pressure_mmHg[:501]))
    sources.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    run_foreign(made, planted(sources, "none"))
    processes, shared, others = own_processes(), own_shared(), set(active_children())
    files = len(os.listdir("/proc/self/fd"))
    with Host() as host:
        for k in range(RUNS):
            kind = "hang" if k == 7 else KINDS[k % len(KINDS)]
            given = planted(sources, kind, tick=5 + k % 400)
            found = run_foreign(short, given, host=None if k % ALONE == ALONE - 1 else host)
            assert bool(found.findings) == (kind != "none")
    assert own_processes() <= processes
    assert set(active_children()) <= others
    assert len(os.listdir("/proc/self/fd")) <= files
    assert [path.name for path in tmp_path.iterdir()] == ["sources"]
    assert own_shared() <= shared
