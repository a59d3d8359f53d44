"""The verbs of the plant: one name for what every variant of a part must answer.

A variant (another valve, another tube) is a NamedTuple class. It registers compiled functions with `.of(Class)` for the
kernel and, for a valve, plain ones with `.register(Class)` for operating point and margins.
"""
from __future__ import annotations

from functools import singledispatch
from typing import Any, NamedTuple

from plant.declare import verb
from plant.linear import Linear

# pneumatic valve: everything between the command and the flow into the line
valve_rates = verb("valve_rates")  # (valve, state, command) -> rate of state
valve_flows = verb("valve_flows")  # (valve, air, state, node_mmHg, supply_mmHg) -> (from supply, into node) [mL/s]
valve_play = verb("valve_play")  # (valve, previous command after hysteresis, command) -> command after hysteresis

# pneumatic line between valve and cuff
line_rates = verb("line_rates")  # (line, air, state, inflow_mL_s, cuff_mmHg) -> (rate of state, outflow_mL_s)
line_node = verb("line_node")  # (line, state, cuff_mmHg) -> pressure at the valve end [mmHg]
line_end_volume = verb("line_end_volume")  # (line,) -> air of the line that moves with the cuff [mL]


class ValveRest(NamedTuple):
    """A valve that holds a steady pressure."""

    state: Any  # the valve's own state
    command: float  # that keeps it there
    reservoir_mmHg: float  # where the supply settles
    smooth: bool  # whether its gain is the same just above and just below


class Openings(NamedTuple):
    """A valve between a supply and the room as restrictions, in proportion to its command (ISO 6358)."""

    conductance: float  # sonic, fully open [dm³/(s·bar)]
    critical_ratio: float
    dead_band: float  # share of the command that opens nothing, either way
    bleed_conductance: float  # always open to the room


class ValveNature(NamedTuple):
    """What the tool must know of a kind of valve before it runs. What has a default, a valve need not have."""

    idle: Any  # state with no command
    sides: tuple[str, ...]  # the sides whose gains differ; one when they do not
    lowest_command: float
    strength: str  # the key that says how much it can do, for advice
    name: str = "valve"  # what a legend calls it, where its sides do not differ
    range_mmHg: float = 0.0  # of the pressure that full command asks for; 0: the command asks for no pressure
    slew_mmHg_s: float = 0.0  # fastest change of that pressure
    openings: Openings | None = None  # what an inverse of the flow law would believe


@singledispatch
def valve_nature(valve: Any) -> ValveNature:
    """Idle state, sides and command range of a valve; register one for a valve of your own."""
    raise TypeError(f"{type(valve).__name__} registers no valve_nature")


@singledispatch
def valve_at_rest(valve: Any, air: Any, supply: Any, outflow_mL_s: float, node_mmHg: float) -> ValveRest:
    """The valve at rest at a steady outflow [mL/s ANR] and node pressure [mmHg]; InputError when it cannot hold it."""
    raise TypeError(f"{type(valve).__name__} registers no valve_at_rest")


@singledispatch
def valve_twin(valve: Any, air: Any, side: str, node_mmHg: float, supply_mmHg: float, command: float) -> Linear:
    """Twin: (`command`, `node_pressure`, `supply_pressure`) to (`valve_flow`, `supply_outflow`), on one side."""
    raise TypeError(f"{type(valve).__name__} registers no valve_twin")


@singledispatch
def valve_slowed(valve: Any, share: float) -> Any:
    """The valve with only this share of its speed, as when it sticks; None of a kind that does not say."""
    return None


PLAIN_VALVE_VERBS = (valve_nature, valve_at_rest, valve_twin)
