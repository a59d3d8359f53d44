"""A real Dask cluster of two worker processes on this machine: same bits, killed workers, a killed study, refusals."""
import os
import signal
import subprocess
import sys
import time
from functools import partial

import numpy as np
import pytest

distributed = pytest.importorskip("distributed")

from experiments.calibration.schedule import study as schedule_study  # noqa: E402
from experiments.calibration.search import study as search_study  # noqa: E402
from experiments.calibration.search.piece import Plan  # noqa: E402
from experiments.safety.faults import study as fault_study  # noqa: E402
from experiments.safety.faults.verdict import FaultLimits  # noqa: E402
from experiments.work import cluster as module  # noqa: E402
from experiments.work.cluster import cluster  # noqa: E402
from experiments.work.run import local, run  # noqa: E402
from plant.errors import InputError  # noqa: E402

PIECES = """
import os, signal, time
import numpy as np

def sample(piece):
    return np.random.Generator(np.random.PCG64(piece)).normal(size=3)

def slow(piece):
    time.sleep(0.02)
    return sample(piece)

def where(_):
    time.sleep(0.02)
    return os.getpid(), os.environ["OPENBLAS_NUM_THREADS"]

def die_once(folder, piece):
    note = os.path.join(folder, "died")
    if piece == 5 and not os.path.exists(note):
        open(note, "w").close()
        os.kill(os.getpid(), signal.SIGKILL)
    return sample(piece)
"""
STUDY = """
import sys
from pathlib import Path
from experiments.work.cluster import cluster
from experiments.work.run import run
import pieces_of_dask
if __name__ == "__main__":
    found = run(range(60), pieces_of_dask.slow, Path(sys.argv[1]), engine=cluster(sys.argv[2]), chunk=1)
    print("".join(f.tobytes().hex() for f in found))
"""


@pytest.fixture(scope="module")
def pieces(tmp_path_factory):
    """Functions in a module that the workers can import."""
    folder = tmp_path_factory.mktemp("functions")
    (folder / "pieces_of_dask.py").write_text(PIECES)
    sys.path.insert(0, str(folder))
    import pieces_of_dask

    yield pieces_of_dask
    sys.path.remove(str(folder))


@pytest.fixture(scope="module")
def address(pieces):
    """A scheduler in this process with two workers in processes of their own."""
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0", silence_logs=50) as dask:
        yield dask.scheduler_address


def same(found, count):
    expected = [np.random.Generator(np.random.PCG64(i)).normal(size=3) for i in range(count)]
    return [f.tobytes() for f in found] == [e.tobytes() for e in expected]


def test_same_bits_as_at_home(tmp_path, pieces, address):
    shares = []
    found = run(range(40), pieces.sample, tmp_path / "a", engine=cluster(address), chunk=3, progress=shares.append)
    assert same(found, 40) and shares[-1] == 1.0
    assert same(run(range(40), pieces.sample, engine=local(1)), 40)
    assert same(run(range(40), pieces.sample, tmp_path / "a", engine=local(1), chunk=3), 40)  # one folder for both


def test_studies_of_searches_schedules_and_failures_too(address):
    """Each has the rows that it has here."""
    plan = Plan("wrist", (), ("classroom",), "mixed", 1, 3, 1, 5)
    assert repr(search_study.run_study(plan, engine=cluster(address))) == repr(search_study.run_study(plan))
    compared = schedule_study.Plan("wrist", (), "never", ("quiet",), 2, "mixed", 1, 60.0)
    away, here = (schedule_study.run_study(compared, None, engine) for engine in (cluster(address), local(1)))
    np.testing.assert_array_equal(away.figures(), here.figures())
    failures = fault_study.Plan("wrist", (), ("emitter_out:0.8",), 2, 1, "mixed", 1, False, (), 2.5, FaultLimits())
    away, here = (fault_study.run_study(failures, engine=engine) for engine in (cluster(address), local(1)))
    np.testing.assert_array_equal(away.rows, here.rows)


def test_two_processes_with_one_thread_of_algebra_each(pieces, address):
    found = run(range(20), pieces.where, engine=cluster(address))
    assert len({process for process, _ in found} - {os.getpid()}) == 2 and {threads for _, threads in found} == {"1"}


def test_a_killed_worker_loses_nothing(tmp_path, pieces, address):
    found = run(range(20), partial(pieces.die_once, str(tmp_path)), tmp_path / "a", engine=cluster(address), chunk=1)
    assert same(found, 20) and (tmp_path / "died").exists()


def test_a_killed_study_goes_on_with_the_same_bits(tmp_path, pieces, address):
    """SIGKILL to whoever hands out the chunks and keeps them."""
    script, directory = tmp_path / "study.py", tmp_path / "a"
    script.write_text(STUDY)
    place = os.pathsep.join([os.path.dirname(pieces.__file__), os.getcwd()])
    command = [sys.executable, str(script), str(directory), address]
    running = subprocess.Popen(command, env=os.environ | {"PYTHONPATH": place})
    while len(list(directory.glob("chunk-" + "?" * 20))) < 10:
        assert running.poll() is None
        time.sleep(0.005)
    running.send_signal(signal.SIGKILL)
    running.wait()
    before = len(list(directory.glob("chunk-" + "?" * 20)))
    assert 10 <= before < 60
    done = subprocess.run(command, env=os.environ | {"PYTHONPATH": place}, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "".join(pieces.sample(i).tobytes().hex() for i in range(60)), done.stderr


def fails(piece):
    if piece == 3:
        raise InputError("three is out of range")
    return piece


def test_what_the_function_raises_comes_back(address):
    with pytest.raises(InputError, match="three is out of range"):
        run(range(6), fails, engine=cluster(address))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense", "carrier://pigeon:1", "", "tcp://127.0.0.1:99999"])
def test_no_scheduler_there(monkeypatch, address):
    monkeypatch.setattr(module, "PATIENCE_s", 0.5)
    with pytest.raises(InputError, match="--cluster") as refused:
        run([1], abs, engine=cluster(address))
    assert "no scheduler answers" in str(refused.value) and "\n" not in str(refused.value)


def test_no_workers():
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=":0", silence_logs=50) as empty,
        pytest.raises(InputError, match="no workers"),
    ):
        run([1], abs, engine=cluster(empty.scheduler_address))


def test_workers_of_another_version(monkeypatch, address):
    monkeypatch.setattr(module, "code_version", lambda: f"not {os.getpid()}")  # by value: the workers say their own
    with pytest.raises(InputError, match=r"worker tcp://\S+ has another version"):
        run([1], abs, engine=cluster(address))


def test_the_package_is_optional(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"pip install 'cuffloop\[cluster\]'"):
        cluster("tcp://127.0.0.1:8786")
