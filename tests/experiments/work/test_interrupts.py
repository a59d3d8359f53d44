"""Ctrl-C is held back for the length of a block, no longer and no less."""
import os
import signal
import threading

import pytest

from experiments.work.interrupts import uninterrupted


def interrupt():
    os.kill(os.getpid(), signal.SIGINT)


@pytest.fixture(autouse=True)
def handler():
    """Python's own handler, whoever runs these tests; and it must be back in place after each of them."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    signal.signal(signal.SIGINT, before)


def test_it_comes_at_the_end_of_the_block():
    done = []
    with pytest.raises(KeyboardInterrupt), uninterrupted():
        interrupt()
        interrupt()
        done.append("the rest of the block")
    assert done


def test_nothing_comes_when_nobody_asked():
    with uninterrupted():
        assert signal.getsignal(signal.SIGINT) is not signal.default_int_handler


def test_outside_a_block_it_comes_at_once():
    with uninterrupted():
        pass
    with pytest.raises(KeyboardInterrupt):
        interrupt()


def test_an_error_inside_is_not_lost():
    with pytest.raises(ZeroDivisionError), uninterrupted():
        raise ZeroDivisionError


def test_it_outweighs_an_error_inside():
    with pytest.raises(KeyboardInterrupt), uninterrupted():
        interrupt()
        raise ZeroDivisionError


def test_who_handles_it_otherwise_still_does():
    seen = []
    signal.signal(signal.SIGINT, lambda number, frame: seen.append(number))
    with uninterrupted():
        interrupt()
        assert seen == []
    assert seen == [signal.SIGINT]
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.mark.skipif(not hasattr(signal, "SIGALRM"), reason="POSIX signals")
def test_a_time_limit_waits_too():
    """An alarm whose handler raises, as test runners set them, would end the process inside compiled code."""
    seen = []

    def late(number, frame):
        seen.append(number)
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, late)
    try:
        done = []
        with pytest.raises(TimeoutError), uninterrupted():
            os.kill(os.getpid(), signal.SIGALRM)
            done.append("the rest of the block")
        assert done and signal.getsignal(signal.SIGALRM) is late
        with pytest.raises(KeyboardInterrupt), uninterrupted():
            os.kill(os.getpid(), signal.SIGALRM)
            interrupt()
        assert seen == [signal.SIGALRM] * 2  # the exception of one does not lose the other
    finally:
        signal.signal(signal.SIGALRM, before)


def test_other_threads_and_ignored_signals_are_left_alone():
    found = []
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with uninterrupted():
        found.append(signal.getsignal(signal.SIGINT))
    signal.signal(signal.SIGINT, signal.default_int_handler)

    def elsewhere():
        with uninterrupted():
            found.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert found == [signal.SIG_IGN, signal.default_int_handler]
