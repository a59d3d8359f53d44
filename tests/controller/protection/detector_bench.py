"""A quiet tick for the detectors, to be disturbed."""
from controller.protection.watched import Watched
from controller.tick.firmware import CLAMP

QUIET = Watched(
    period_s=0.001, mode=CLAMP, clamped_ticks=10_000, reading_mmHg=90.0, second_mmHg=90.0, supply_mmHg=600.0,
    pump_mL_s=1.0, light=0.3, set_point=0.3, light_slope=1e-3, light_noise=0.0, error_mmHg=0.0, command=0.1, demand=0.0,
    limited=False, missed=0.0, tripped=False, settings=1, searched=True, denied=False, emitter=1.0,
    converter_error=0.0,
)


def fired_at(step, part, state, ticks, change):
    """The first tick at which a detector fires; −1 when it does not. `change(k)` gives what differs on tick k."""
    for k in range(ticks):
        state = step(part, state, QUIET._replace(**change(k)))
        if state.fires:
            return k
    return -1
