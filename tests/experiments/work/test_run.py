"""Work in chunks: the same results on any engine, after any kill, and nothing that was done is done again."""
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial

import numpy as np
import pytest

from experiments.work import run as work
from experiments.work.chunks import Chunks, fingerprint
from experiments.work.packed import unpack
from experiments.work.run import Engine, Unit, compute, local, run
from plant.errors import InputError

posix = pytest.mark.skipif(os.name != "posix", reason="sends POSIX signals")
PIECES = """
import os, signal, time
import numpy as np

def sample(piece):
    return np.random.Generator(np.random.PCG64(piece)).normal(size=3)

def slow(piece):
    time.sleep(0.03)
    return sample(piece)

def leave_note(folder, piece):
    with open(f"{folder}/{piece}-{os.getpid()}-{time.monotonic_ns()}", "w"):
        return sample(piece)

def die_once(folder, piece):
    note = os.path.join(folder, "died")
    if piece == 5 and not os.path.exists(note):
        open(note, "w").close()
        os.kill(os.getpid(), signal.SIGKILL)
    return sample(piece)

def die_always(piece):
    if piece == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return sample(piece)

def threads(_):
    return [os.environ[name] for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")], os.getppid()
"""
CHUNKS = "chunk-" + "?" * 20  # whole ones
AWAY = Engine(partial(work._Pool, 2, work.prepare_worker))  # nothing in this process


@pytest.fixture(scope="module")
def pieces(tmp_path_factory):
    """Functions in a module that other processes can import."""
    folder = tmp_path_factory.mktemp("functions")
    (folder / "pieces_of_work.py").write_text(PIECES)
    sys.path.insert(0, str(folder))
    import pieces_of_work

    yield pieces_of_work
    sys.path.remove(str(folder))


def same(found, count=20):
    expected = [np.random.Generator(np.random.PCG64(i)).normal(size=3) for i in range(count)]
    return [f.tobytes() for f in found] == [e.tobytes() for e in expected]


def place(directory, pieces):
    """File of the chunk of some pieces."""
    return directory / f"chunk-{fingerprint(list(pieces))}"


@pytest.mark.parametrize("chunk", [1, 7, 20, 100])
@pytest.mark.parametrize("engine", [local(1), Engine(lambda: ThreadPoolExecutor(3))])
def test_results_in_order_on_any_engine(tmp_path, pieces, engine, chunk):
    shares = []
    assert same(run(range(20), pieces.sample, tmp_path / "a", engine=engine, chunk=chunk, progress=shares.append))
    assert shares == sorted(shares) and shares[-1] == 1.0
    assert same(run(range(20), pieces.sample, engine=engine, chunk=chunk))


def test_nothing_to_do(tmp_path):
    assert run([], abs, tmp_path / "a") == []


def test_processes_give_the_same_bits(pieces):
    """The default engine with two workers, and one that leaves nothing to this process."""
    assert same(run(range(20), pieces.sample, engine=local(2)))
    assert same(run(range(20), pieces.sample, engine=AWAY))
    (names, parent), *_ = run([0], pieces.threads, engine=AWAY)
    assert names == ["1"] * 3 and parent == os.getpid()


def test_many_pieces_make_few_chunks(tmp_path, pieces):
    run(range(1000), pieces.sample, tmp_path / "a", engine=local(1))
    assert len(list((tmp_path / "a").glob("chunk-*"))) == work.MOST_CHUNKS


def test_what_is_done_is_not_done_again(tmp_path, pieces):
    notes = tmp_path / "notes"
    notes.mkdir()
    job = partial(run, range(20), partial(pieces.leave_note, str(notes)), tmp_path / "a", engine=local(1), chunk=2)
    job()
    assert len(list(notes.iterdir())) == 20
    for first in (6, 14):
        place(tmp_path / "a", range(first, first + 2)).unlink()
    place(tmp_path / "a", range(10, 12)).write_bytes(b"half")
    assert same(job())
    again = sorted(int(p.name.partition("-")[0]) for p in notes.iterdir())
    assert len(again) == 26 and all(again.count(i) == (2 if i in (6, 7, 10, 11, 14, 15) else 1) for i in range(20))


def test_a_killed_worker_loses_nothing(tmp_path, pieces):
    assert same(run(range(20), partial(pieces.die_once, str(tmp_path)), tmp_path / "a", engine=AWAY, chunk=2))
    assert (tmp_path / "died").exists()


def test_a_piece_that_kills_every_worker(tmp_path, pieces):
    """It ends in one line, and everything else is kept."""
    with pytest.raises(InputError, match="died 3 times over chunk 3"):
        run(range(6), pieces.die_always, tmp_path / "a", engine=AWAY, chunk=1)
    assert set((tmp_path / "a").glob("chunk-*")) == {place(tmp_path / "a", [i]) for i in (0, 1, 2, 4, 5)}


def fails_at_seven(piece):
    if piece == 7:
        raise InputError("seven is out of range")
    return piece


@pytest.mark.parametrize("engine", [local(1), Engine(lambda: ThreadPoolExecutor(1))])
def test_what_the_function_raises_ends_the_work(tmp_path, engine):
    with pytest.raises(InputError, match="seven"):
        run(range(20), fails_at_seven, tmp_path / "a", engine=engine, chunk=2)
    assert place(tmp_path / "a", (4, 5)).exists() and not place(tmp_path / "a", (6, 7)).exists()


def test_work_that_fails_at_once_leaves_nothing(tmp_path):
    with pytest.raises(InputError, match="seven"):
        run([7, 8], fails_at_seven, tmp_path / "a", engine=local(1))
    assert not (tmp_path / "a").exists()


def test_more_pieces_use_what_is_there(tmp_path, pieces):
    """A longer list, and one in another order; of each only what is new is done."""
    notes = tmp_path / "notes"
    notes.mkdir()
    for some in (range(4), range(8), [6, 7, 2, 3, 8, 9]):
        found = run(some, partial(pieces.leave_note, str(notes)), tmp_path / "a", engine=local(1), chunk=2)
        assert [f.tobytes() for f in found] == [pieces.sample(i).tobytes() for i in some]
    assert len(list(notes.iterdir())) == 10


def test_another_study_s_folder(tmp_path, pieces):
    """Another function or other arguments of it: refused, and the folder as it was."""
    run(range(4), partial(max, 1), tmp_path / "a", about={"rig": "wrist"})
    for other in (partial(run, range(4), partial(max, 2)), partial(run, range(4), partial(min, 1))):
        with pytest.raises(InputError, match="another study"):
            other(directory=tmp_path / "a", about={"rig": "wrist"})
    with pytest.raises(InputError, match="its rig is 'wrist', not 'cabinet'"):
        run(range(4), partial(max, 1), tmp_path / "a", about={"rig": "cabinet"})
    assert run(range(4), partial(max, 1), tmp_path / "a", about={"rig": "wrist"}) == [1, 1, 2, 3]


@pytest.mark.parametrize("workers", [0, -1, 257])
def test_workers_out_of_range(workers):
    with pytest.raises(InputError, match=f"--workers {workers} must be from 1 to 256"):
        local(workers)


def test_an_interrupt_says_how_to_go_on(tmp_path):
    def stop(piece):
        if piece == 3:
            raise KeyboardInterrupt
        return piece

    with pytest.raises(KeyboardInterrupt, match=r"3 of 5 beats are done; the same command goes on"):
        run(range(5), stop, tmp_path / "a", engine=local(1), chunk=1, unit=Unit("beats"))
    with pytest.raises(KeyboardInterrupt, match="nothing was kept"):
        run(range(5), stop, engine=local(1), chunk=1)
    assert Chunks(tmp_path / "a").read(fingerprint([2])) == [2]


def test_a_broken_engine_is_started_anew():
    """Whatever `broken` names counts as a death; anything else does not."""
    class Dying(ThreadPoolExecutor):
        lives = 2

        def submit(self, *arguments):
            if Dying.lives:
                Dying.lives -= 1
                raise BrokenProcessPool("gone")
            return super().submit(*arguments)

    assert run(range(3), abs, engine=Engine(lambda: Dying(1))) == [0, 1, 2]
    Dying.lives = 1
    with pytest.raises(BrokenProcessPool):
        run(range(3), abs, engine=Engine(lambda: Dying(1), broken=(KeyError,)))


def test_a_chunk_is_its_pieces(pieces):
    assert same(unpack(compute(pieces.sample, range(20))))


STUDY = """
import signal, sys
from pathlib import Path
from experiments.work.run import local, run
import pieces_of_work
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # what started the tests may have it ignored
    engine = local(int(sys.argv[2]))
    if sys.argv[2] != "1":
        engine = engine._replace(begin_here_s=0.0)  # nothing in this process
    found = run(range(60), pieces_of_work.slow, Path(sys.argv[1]), engine=engine, chunk=2)
    print("".join(f.tobytes().hex() for f in found))
"""


def study(folder, pieces, directory, workers):
    script = folder / "study.py"
    script.write_text(STUDY)
    place = os.pathsep.join([os.path.dirname(pieces.__file__), os.getcwd()])
    return subprocess.Popen([sys.executable, str(script), str(directory), str(workers)], stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": place})


@posix
def test_killed_again_and_again_it_ends_with_the_same_bits(tmp_path, pieces):
    """SIGKILL at three moments, with one and with two workers; no orphans; what was done is still there."""
    directory, before = tmp_path / "a", set()
    for workers, more in ((2, 4), (1, 9), (2, 3)):
        running = study(tmp_path, pieces, directory, workers)
        while len(set(directory.glob(CHUNKS)) - before) < more:
            assert running.poll() is None, running.communicate()
            time.sleep(0.005)
        running.send_signal(signal.SIGKILL)
        running.communicate(timeout=20)  # workers that outlived it would hold these streams open
        assert before < set(directory.glob(CHUNKS)) and len(before) < 30
        before = set(directory.glob(CHUNKS))
    out, err = study(tmp_path, pieces, directory, 2).communicate(timeout=60)
    assert out.strip() == "".join(pieces.sample(i).tobytes().hex() for i in range(60)), err


@posix
def test_ctrl_c_ends_workers_too(tmp_path, pieces):
    running = study(tmp_path, pieces, tmp_path / "a", 2)
    while not len(list((tmp_path / "a").glob("chunk-*"))) > 3:
        time.sleep(0.005)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=60)
    assert "KeyboardInterrupt: " in err and "goes on from there" in err


EVERY_STEP = """
import os, sys
from pathlib import Path
from experiments.work.run import local, run
import pieces_of_work

def count_down(original):
    def step(*arguments, **more):
        global left
        left -= 1
        if left == 0:
            os._exit(9)
        return original(*arguments, **more)
    return step

os.fsync, Path.replace, Path.unlink = map(count_down, (os.fsync, Path.replace, Path.unlink))
for at in range(1, 40):
    left, place = at, Path(sys.argv[1]) / str(at)
    for turn in range(2):
        child = os.fork()
        if child == 0:
            run(range(6), pieces_of_work.sample, place, engine=local(1), chunk=2)
            os._exit(0)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    left = 10**9
    found = run(range(6), pieces_of_work.sample, place, engine=local(1), chunk=2)
    assert [f.tobytes() for f in found] == [pieces_of_work.sample(i).tobytes() for i in range(6)], at
    if at > 1 and status == 0:
        print("survived", at)
        break
"""


@posix
def test_dead_at_every_step_of_writing(tmp_path, pieces):
    """The process ends without a word before each flushing, renaming and removing; what follows mends it."""
    place = os.pathsep.join([os.path.dirname(pieces.__file__), os.getcwd()])
    done = subprocess.run([sys.executable, "-c", EVERY_STEP, str(tmp_path)], capture_output=True, text=True,
                          check=False, env=os.environ | {"PYTHONPATH": place})
    assert done.returncode == 0 and done.stdout.startswith("survived"), done.stderr
