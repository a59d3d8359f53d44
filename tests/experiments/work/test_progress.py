"""Progress is told to whoever surrounds the call."""
import pytest

from experiments.work.progress import part_of, progress, tell, watcher


def test_inside_the_block_only():
    told = []
    assert watcher() is None
    with progress(told.append):
        watcher()(0.5)
        with progress(None):
            assert watcher() is None
        assert watcher() == told.append
    assert watcher() is None and told == [0.5]


def test_an_error_ends_it_too():
    with pytest.raises(ValueError, match="x"), progress(print):
        raise ValueError("x")
    assert watcher() is None


def test_a_piece_of_the_work_is_told_as_a_share_of_the_whole():
    told = []
    part_of(told.append, 0.5, 0.75)(0.0)
    part_of(told.append, 0.5, 0.75)(1.0)
    assert told == [0.5, 0.75] and part_of(None, 0.0, 1.0) is None


def test_nobody_need_watch():
    told = []
    tell(0.1)
    with progress(told.append):
        tell(0.2)
    assert told == [0.2]
