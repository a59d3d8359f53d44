"""What these tests share: a small bench on synthetic pressure."""
from experiments.bench.asked import asked_of
from experiments.bench.setup import usual_setup

SETUP = usual_setup("wrist")._replace(record="synthetic", seconds=16.0)


def asked(**message):
    """A request of the page to that bench."""
    return asked_of(SETUP, message)
