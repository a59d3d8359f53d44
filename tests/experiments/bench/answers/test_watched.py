"""A watched search asks and concludes what its own does, and ends where its watcher says so."""
import pytest

from calibrate.protocol import Hold
from experiments.bench.answers.watched import Watched


class Twice:
    """Asks twice, and gives the sum of what it saw."""

    def search(self, instrument):
        first = yield Hold(instrument, 1.0)
        second = yield Hold(instrument, 2.0)
        return first + second


def followed(search):
    """What it asks and concludes, where each request is answered with its own time."""
    plan, asked = search.search(90.0), []
    try:
        request = next(plan)
        while True:
            asked.append(request)
            request = plan.send(request.seconds)
    except StopIteration as end:
        return asked, end.value


def test_it_asks_and_concludes_the_same():
    told = []
    assert followed(Watched(Twice(), told.append)) == followed(Twice())
    assert followed(Twice())[1] == 3.0 and len(told) == 2


def test_what_its_watcher_raises_ends_it():
    def leave(share):
        raise KeyError("unwanted")

    with pytest.raises(KeyError, match="unwanted"):
        followed(Watched(Twice(), leave))
