"""What works without firmware, tick by tick: over-pressure switch, watchdog, dump valve and relief valve."""
from __future__ import annotations

from typing import NamedTuple

from controller.protection.guards import Guards
from experiments.simulation.disturbance import Disturbance, reference_scale
from plant.declare import fused
from plant.electronics.pressure_switch import SwitchState, idle_switch, switch_step
from plant.electronics.watchdog import WatchdogState, fed_watchdog, watchdog_step
from plant.numerics.vector import choose
from plant.pneumatics.dump_valve import dump_holds, dump_step
from plant.pneumatics.openings import Openings
from plant.pneumatics.relief import relief_opens

LEAST_POWER = 0.5  # share of nominal below which the processor stops (common practice: brown-out detection)


class Backup(NamedTuple):
    """What each of them remembers."""

    switch: SwitchState
    watchdog: WatchdogState
    dump: float  # opening of the dump valve
    relief_open: bool


class Places(NamedTuple):
    """Pressures [mmHg] where they can be sensed."""

    cuff_mmHg: float
    node_mmHg: float  # at the valve end of the line


def backup_at_rest() -> Backup:
    """Nothing has acted."""
    return Backup(idle_switch(), fed_watchdog(), 0.0, False)


@fused
def is_powered(fault: Disturbance) -> bool:
    """Whether processor and switch have the power to run."""
    return fault.power >= LEAST_POWER


@fused
def backup_tick(
    guards: Guards, fault: Disturbance, before: Backup, sensed: Places, runs: bool, vented: bool, since_s: float,
    period_s: float,
) -> tuple[Backup, bool, bool]:
    """All of them after a tick; whether somebody has let the dump valve go, and whether its coil holds it.

    `runs`: the firmware ran, and fed the watchdog; `vented`: it wants the cuff empty; `since_s`: since a failure began.
    """
    powered, relief = is_powered(fault), guards.relief
    at_switch = choose(guards.pressure_switch.at_cuff, sensed.cuff_mmHg, sensed.node_mmHg)
    gain = fault.second_gain * reference_scale(fault, since_s)
    offset = fault.second_offset_mmHg + fault.second_drift_mmHg_s * since_s
    switch = switch_step(guards.pressure_switch, before.switch, at_switch, gain, offset, powered, period_s)
    watchdog = watchdog_step(guards.watchdog, before.watchdog, runs, powered, period_s)
    released = vented | switch.tripped | watchdog.expired
    holds = dump_holds(guards.dump_valve, fault.power, released)
    dump = dump_step(guards.dump_valve, before.dump, holds, period_s)
    opens = relief_opens(relief, before.relief_open, choose(relief.at_cuff, sensed.cuff_mmHg, sensed.node_mmHg))
    return Backup(switch, watchdog, dump, opens), released, holds


@fused
def open_now(guards: Guards, fault: Disturbance, backup: Backup, released: bool) -> Openings:
    """Every way for air during this tick; the pump stops when the dump valve was let go."""
    dump_valve = guards.dump_valve
    dump = dump_valve.conductance * backup.dump
    return Openings(
        fault.node_conductance + choose(dump_valve.at_cuff, 0.0, dump),
        fault.cuff_conductance + choose(dump_valve.at_cuff, dump, 0.0), fault.feed_conductance,
        dump_valve.critical_ratio, fault.pump_dead | released, backup.relief_open,
    )
