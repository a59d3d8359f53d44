"""Tasks in this process or in several: the same bits, progress, and an end to it when it is asked for."""
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from calibrate.probing_search import ProbingSearch
from calibrate.protocol import Vent
from calibrate.schedule import timed
from calibrate.schedules import Never
from experiments.instrument import instrument_of
from experiments.population import sample_fingers
from experiments.schedule_run import Task
from experiments.schedule_workers import Job, run_jobs
from plant.errors import InputError


class Dying(NamedTuple):
    """Ends the process it runs in."""

    def program(self, instrument, search, diary):
        """As the kernel's memory killer would."""
        import os

        yield from timed(Vent(0.5), instrument, diary)
        os._exit(9)


@pytest.fixture(scope="module")
def jobs(wrist):
    instrument = instrument_of(wrist)
    return [
        Job(Task(wrist, instrument, 2, ProbingSearch(), (Never(),), scenario, finger, 40.0), None)
        for scenario in ("quiet", "cold") for finger in sample_fingers(2, "mixed", 1)
    ]


def by_task(done):
    return {(job.task.scenario, job.task.finger.name): runs for job, runs in done}


def test_one_worker_or_two(jobs, tmp_path):
    """The same figures to the last bit, and the same progress at the end."""
    told = {1: [], 2: []}
    found = {
        n: by_task(run_jobs([j._replace(keep=tmp_path / f"{n}_{i}.npz") for i, j in enumerate(jobs)], n,
                            told[n].append)) for n in told
    }
    assert found[1].keys() == found[2].keys() and len(found[1]) == len(jobs)
    for key, runs in found[1].items():
        np.testing.assert_array_equal(runs[0].figures, found[2][key][0].figures)
        np.testing.assert_array_equal(runs[0].course, found[2][key][0].course)
    for seconds in told.values():
        assert seconds == sorted(seconds) and 0.85 * 160.0 < seconds[-1] <= 160.0
    assert len(list(tmp_path.glob("*.npz"))) == 2 * len(jobs)
    with np.load(tmp_path / "1_0.npz") as one, np.load(tmp_path / "2_0.npz") as two:
        assert all(np.array_equal(one[k], two[k], equal_nan=one[k].dtype.kind == "f") for k in ("figures", "words"))


@pytest.mark.parametrize("workers", [1, 2])
def test_who_walks_away_ends_the_work(jobs, workers, tmp_path):
    """Closing the generator, as an interruption does, leaves whole files only and no process behind."""
    import multiprocessing

    done = run_jobs([j._replace(keep=tmp_path / f"{i}.npz") for i, j in enumerate(jobs)], workers, lambda s: None)
    next(done)
    done.close()
    assert not multiprocessing.active_children()
    assert len(list(tmp_path.iterdir())) >= 1 and all(p.suffix == ".npz" for p in tmp_path.iterdir())


def test_a_worker_that_dies_is_told_in_one_line(jobs):
    dying = [j._replace(task=j.task._replace(schedules=(Dying(),), seconds=5.0)) for j in jobs[:2]]
    with pytest.raises(InputError, match="ended from outside"):
        list(run_jobs(dying, 2, lambda s: None))


def test_a_place_that_cannot_be_written_ends_it(jobs):
    lost = [j._replace(keep=Path("/nowhere/at/all.npz")) for j in jobs[:2]]
    for workers in (1, 2):
        with pytest.raises(InputError, match="cannot be written"):
            list(run_jobs(lost, workers, lambda s: None))
