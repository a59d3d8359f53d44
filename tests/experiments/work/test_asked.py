"""Who asked for a result: the outermost."""
from experiments.work.asked import asked, words_asked


def test_the_outermost_counts():
    assert words_asked() == ""
    with asked("cuffloop check") as first:
        assert first and words_asked() == "cuffloop check"
        with asked("cuffloop.check()") as second:
            assert not second and words_asked() == "cuffloop check"
    assert words_asked() == ""
