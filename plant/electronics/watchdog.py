"""Hardware watchdog: a timer that the firmware's tick starts anew; when it runs out, the dump valve loses its power."""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity, switch
from plant.numerics.integrate import selected
from plant.numerics.vector import choose


class Watchdog(NamedTuple):
    """A windowless watchdog timer with a latch."""

    enabled: Annotated[bool, switch("fitted and wired to the dump valve", "scenario")] = True
    timeout_s: Annotated[float, quantity("s", 0.001, 10, "time without a tick before it expires", "invented")] = 0.02
    latched: Annotated[bool, switch("stays expired until power is cycled", "invented")] = True


class WatchdogState(NamedTuple):
    """Time since it was last fed [s], and whether it has expired."""

    unfed_s: float
    expired: bool


@compiled
def watchdog_step(part: Watchdog, state: WatchdogState, fed: bool, powered: bool, period_s: float) -> WatchdogState:
    """State after a tick [s] in which it was fed or not. A cycle of power sets it back."""
    unfed = choose(fed, 0.0, state.unfed_s + period_s)
    out = part.enabled & (unfed > part.timeout_s)
    after = WatchdogState(unfed, out | (state.expired & part.latched))
    new: WatchdogState = selected(powered, after, WatchdogState(0.0, False))
    return new


def fed_watchdog() -> WatchdogState:
    """Just fed."""
    return WatchdogState(0.0, False)
