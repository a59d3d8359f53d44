"""A quiet tick for the detectors, to be disturbed."""
from controller.firmware import CLAMP
from controller.watched import Watched

QUIET = Watched(0.001, CLAMP, 10.0, 90.0, 90.0, 600.0, 0.3, 0.3, 1e-3, 0.0, 0.1, 0.0, False, 0.0, False)


def fired_at(step, part, state, ticks, change):
    """The first tick at which a detector fires; −1 when it does not. `change(k)` gives what differs on tick k."""
    for k in range(ticks):
        state = step(part, state, QUIET._replace(**change(k)))
        if state.fires:
            return k
    return -1
