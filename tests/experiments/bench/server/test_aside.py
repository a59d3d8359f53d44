"""The process aside: one job after the other, the newest of each owner, and a new process when it dies."""
import multiprocessing
import queue

import pytest

from experiments.bench.server import aside as module
from experiments.bench.server.aside import Aside, Job, _do, _left
from experiments.bench.wire import Answer, packed, unpacked
from experiments.work.progress import watcher
from tests.experiments.bench.helper import SETUP


@pytest.fixture(scope="module")
def aside():
    made = Aside(SETUP)
    yield made
    made.close()


def job(told, name="compile", **message):
    return Job(name, message, {"slot": "x"}, lambda answer, last: told.put((unpacked(answer).head, last)))


def ending(told):
    """Heads up to the last of a job."""
    heads = []
    while True:
        head, last = told.get(timeout=90)
        heads.append(head)
        if last:
            return heads


def test_a_job_is_done_and_a_bad_one_says_why(aside):
    told = queue.Queue()
    aside.ask((1, "a"), job(told, settings={"controller.kp": -1.0}))
    (head,) = ending(told)
    assert head["key"] == "controller.kp" and head["slot"] == "x"
    aside.ask((1, "a"), job(told))
    assert [h.get("compiled", h.get("last")) for h in ending(told)] == [True, True]


def test_only_the_newest_of_an_owner_waits_and_a_tab_that_closes_is_forgotten(aside):
    told, other = queue.Queue(), queue.Queue()
    aside.ask((1, "a"), job(told))
    for kp in (0.01, 0.011, 0.012):
        aside.ask((2, "b"), job(other, settings={"controller.kp": kp}))
    assert len(aside._waiting) <= 1
    aside.forget(2)
    ending(told)
    assert other.empty()


def test_a_process_that_dies_is_replaced(aside):
    told = queue.Queue()
    aside._process.kill()
    aside._process.join(5.0)
    aside.ask((1, "a"), job(told))
    assert ending(told)[-1] == {"slot": "x", "last": True}


def test_a_job_is_left_at_an_answer_when_it_is_no_longer_wanted(monkeypatch):
    ours, theirs = multiprocessing.Pipe()
    monkeypatch.setattr("experiments.bench.jobs.JOBS", {"count": lambda asked: (Answer({"n": n}) for n in range(100))})
    ours.send(("leave", 7))
    _do(theirs, SETUP, 7, "count", {}, {})
    sent = []
    while ours.poll():
        sent.append(ours.recv())
    assert len(sent) == 2 and sent[-1] == (7, packed(Answer({"last": True})), True)
    for number in (7, 7, 6):
        ours.send(("leave", number))
    assert _left(theirs, 7) and not theirs.poll()
    ours.send(("leave", 6))
    assert not _left(theirs, 7)


def test_a_job_that_tells_its_progress_is_left_where_it_tells_it(monkeypatch):
    ours, theirs = multiprocessing.Pipe()

    def long(asked):
        for share in range(1000):
            watcher()(share / 1000)
            if share == 3:
                ours.send(("leave", 5))
        yield Answer({"never": True})

    monkeypatch.setattr("experiments.bench.jobs.JOBS", {"long": long})
    _do(theirs, SETUP, 5, "long", {}, {"slot": "x"})
    assert ours.recv() == (5, packed(Answer({"slot": "x", "last": True})), True) and not ours.poll()


def test_whatever_goes_wrong_is_told_and_the_process_lives_on(monkeypatch):
    ours, theirs = multiprocessing.Pipe()

    def bad(asked):
        raise ZeroDivisionError("by zero")
        yield

    monkeypatch.setattr("experiments.bench.jobs.JOBS", {"bad": bad})
    _do(theirs, SETUP, 1, "bad", {}, {"slot": "x"})
    number, answer, last = ours.recv()
    assert (number, last) == (1, True) and unpacked(answer).head["error"] == "ZeroDivisionError: by zero"


def test_a_job_that_dies_with_its_process_is_told(aside):
    told = queue.Queue()
    aside.ask((1, "a"), job(told))
    ending(told)
    aside.ask((1, "a"), job(told))
    aside._process.kill()
    (*_, head) = ending(told)
    assert head.get("error") == module.DIED or head.get("last")


def test_the_verdict_does_not_wait_for_a_map(monkeypatch):
    begun = []

    class Noting:
        def __init__(self, setup):
            begun.append(self)
            self.jobs, self.closed = [], False

        def ask(self, owner, one):
            self.jobs.append(one.name)

        def forget(self, session):
            self.jobs.clear()

        def close(self):
            self.closed = True

    monkeypatch.setattr(module, "Aside", Noting)
    both = module.Asides(SETUP)
    both.ask((1, "check"), job(None, "check"))
    assert len(begun) == 1
    both.ask((1, "map"), job(None, "map"))
    assert [one.jobs for one in begun] == [["check"], ["map"]]
    both.forget(1)
    both.close()
    assert all(one.closed and not one.jobs for one in begun)
