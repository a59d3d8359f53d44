"""When the firmware runs: tick period, dead time, jitter and missed ticks."""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import quantity
from plant.errors import InputError


class Timing(NamedTuple):
    """Tick and delays. Dead time runs from the sample to the change of the valve command."""

    period_s: Annotated[float, quantity("s", 1e-4, 0.02, "tick period", "1 ms, common practice")] = 0.001
    dead_time_s: Annotated[
        float, quantity("s", 0, 0.1, "from sampling to the valve command, any share of a tick", "one tick")
    ] = 0.001
    jitter_s: Annotated[float, quantity("s", 0, 0.02, "largest random extra delay of a command", "none")] = 0.0
    missed_share: Annotated[
        float, quantity("1", 0, 0.5, "share of ticks on which the controller does not run", "none")
    ] = 0.0


def dead_ticks(timing: Timing) -> tuple[int, float]:
    """Dead time as whole ticks and the fraction of a tick beyond. Fractions below 1e-9 of a tick are rounding.

    Raises InputError when fraction and jitter together pass the end of the tick: a later command could then overtake.
    """
    ticks = timing.dead_time_s / timing.period_s
    whole = math.floor(ticks + 1e-9)
    share = max(ticks - whole, 0.0)
    share = share if share > 1e-9 else 0.0
    if share + timing.jitter_s / timing.period_s > 1.0 + 1e-9:
        allowed = (1.0 - share) * timing.period_s
        raise InputError(
            f"timing.jitter_s = {timing.jitter_s:.6g}: at most {allowed:.6g} s fits into what "
            f"dead_time_s = {timing.dead_time_s:.6g} leaves of a tick"
        )
    return whole, share
