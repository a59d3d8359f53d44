"""The verbs of the plant: one name for what every variant of a part must answer.

A variant (another valve, another tube) is a NamedTuple class that registers its own functions with `.of(Class)`.
"""
from plant.declare import verb

# pneumatic valve: everything between the command and the flow into the line
valve_rates = verb("valve_rates")  # (valve, state, command) -> rate of state
valve_flows = verb("valve_flows")  # (valve, air, state, node_mmHg, supply_mmHg) -> (from supply, into node) [mL/s]
valve_play = verb("valve_play")  # (valve, previous command after hysteresis, command) -> command after hysteresis

# pneumatic line between valve and cuff
line_rates = verb("line_rates")  # (line, air, state, inflow_mL_s, cuff_mmHg) -> (rate of state, outflow_mL_s)
line_node = verb("line_node")  # (line, state, cuff_mmHg) -> pressure at the valve end [mmHg]
line_end_volume = verb("line_end_volume")  # (line,) -> air of the line that moves with the cuff [mL]
