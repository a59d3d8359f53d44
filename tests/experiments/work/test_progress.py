"""Progress is told to whoever surrounds the call."""
import pytest

from experiments.work.progress import progress, watcher


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
