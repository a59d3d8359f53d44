"""Studies: same bits whatever the workers, resumed from what is on disk, refused when they make no sense."""
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from experiments.fault_limits import FaultLimits
from experiments.fault_study import (
    KEYS,
    Setting,
    chunk_path,
    fault_text,
    fingerprint,
    prepare,
    read_chunk,
    run_study,
    unit_rows,
    write_chunk,
)
from experiments.guards import PROTECTIONS
from plant.errors import InputError

SMALL = Setting("wrist", (), ("valve_stuck_open:1", "emitter_out:0.8", "cough:1"), 2, 1, "mixed", 1, False,
                ("relief", "dump_valve", "watchdog"), 2.5, FaultLimits())


TOP = Path(__file__).resolve().parent.parent.parent


def children(pid):
    """Processes whose parent is this one."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            if int(stat.read_text().rsplit(")", 1)[1].split()[1]) == pid:
                found.append(int(stat.parent.name))
        except OSError:
            continue
    return found


def arguments(pid):
    """Its command line, empty when it is gone."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        return ""


@pytest.fixture(scope="module")
def study():
    return run_study(SMALL, workers=1)


def test_every_combination_has_its_row(study):
    """Failures once with all protection and once without each; physiology only with all."""
    assert len(study.rows) == 2 * (2 * 4 + 1)
    lost = study.column("lost")
    assert set(lost) == {-1.0, *(float(PROTECTIONS.index(n)) for n in SMALL.protections)}
    copies = study.column("copied") > 0.0
    for i in np.nonzero(copies)[0]:  # a copied row is the run with everything in place
        whole = (study.rows[:, :4] == study.rows[i, :4]).all(axis=1) & (lost == -1.0)
        assert np.array_equal(study.rows[i, len(KEYS) :], study.rows[whole][0, len(KEYS) :])


def test_workers_change_no_bit(study):
    again = run_study(SMALL, workers=2)
    assert np.array_equal(again.rows, study.rows) and np.array_equal(again.breaks, study.breaks)


def test_a_stopped_study_goes_on(tmp_path, study, monkeypatch):
    """The second half runs, the first is read; the result is the same. A broken chunk is run again."""
    write_chunk(tmp_path, 0, 0, unit_rows(SMALL, 0, 0))
    seen = []
    import experiments.fault_study as module

    real = module.unit_rows
    monkeypatch.setattr(module, "unit_rows", lambda s, f, p: seen.append((f, p)) or real(s, f, p))
    again = run_study(SMALL, tmp_path, workers=1, progress=lambda share: None)
    assert seen == [(1, 0)] and np.array_equal(again.rows, study.rows)
    chunk_path(tmp_path, 1, 0).write_bytes(b"half")
    assert read_chunk(tmp_path, 1, 0) is None
    seen.clear()
    run_study(SMALL, tmp_path, workers=1)
    assert seen == [(1, 0)]


def test_pairs_are_run_with_all_protection():
    found = run_study(SMALL._replace(pairs=True, fingers=1, protections=()), workers=1)
    second = found.column("second")
    assert np.sum(second >= 0) == 1 and np.sum(second < 0) == 3


def test_a_fingerprint_follows_what_matters():
    same = fingerprint(SMALL)
    assert same == fingerprint(SMALL)
    for other in (SMALL._replace(seed=2), SMALL._replace(settings=("relief.cracking_mmHg=250",)),
                  SMALL._replace(after_s=3.0)):
        assert fingerprint(other) != same


def test_names_come_back():
    faults, units = prepare(SMALL)
    assert tuple(fault_text(f) for f in faults) == SMALL.faults and units == [(0, 0), (1, 0)]


@pytest.mark.parametrize(("change", "word"), [
    ({"fingers": 0}, "fingers"), ({"phases": 0}, "phases"), ({"faults": ("x",)}, "x"), ({"rig": "x"}, "x"),
    ({"protections": ("x",)}, "x"),
])
def test_nonsense_is_refused(change, word):
    with pytest.raises(InputError, match=word):
        prepare(SMALL._replace(**change))


def test_a_finger_that_the_rig_does_not_hold_is_named():
    """A supply too low to clamp at all: no rows, and a reason."""
    rows, why = unit_rows(SMALL._replace(settings=("supply.pressure_mmHg=100",)), 0, 0)
    assert len(rows) == 0 and why


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_no_worker_outlives_a_study_that_is_killed(tmp_path):
    """The parent is killed in the middle, so that nothing of it can tidy up; its workers are gone a moment later."""
    script = ("from experiments.fault_limits import FaultLimits\n"
              "from experiments.fault_study import Setting, run_study\n"
              "if __name__ == '__main__':\n"
              "    run_study(Setting('wrist', (), ('quiet',), 400, 1, 'mixed', 1, False, (), 36.0, FaultLimits()),\n"
              f"              __import__('pathlib').Path({str(tmp_path / 'c')!r}), 2)\n")
    (tmp_path / "long.py").write_text(script)
    environment = os.environ | {"PYTHONPATH": str(TOP), "OPENBLAS_NUM_THREADS": "1"}
    parent = subprocess.Popen([sys.executable, str(tmp_path / "long.py")], env=environment)
    workers: set[int] = set()
    until = time.monotonic() + 120.0
    while len(workers) < 2 and time.monotonic() < until:
        time.sleep(0.2)
        workers = {p for p in children(parent.pid) if "spawn_main" in arguments(p)}
    parent.kill()
    parent.wait()
    until = time.monotonic() + 60.0
    while any(Path(f"/proc/{p}").exists() and "spawn_main" in arguments(p) for p in workers):
        assert time.monotonic() < until, "a worker is still there"
        time.sleep(0.2)
    assert len(workers) == 2
