"""What works without firmware: who lets the cuff go, where pressure is sensed, what is open."""
import pytest

from controller.protection.guards import Guards
from experiments.simulation.backups import LEAST_POWER, Places, backup_at_rest, backup_tick, is_powered, open_now
from experiments.simulation.disturbance import NONE, disturbance

GUARDS = Guards()
CALM = Places(90.0, 90.0)


def ticked(ticks, sensed=CALM, fault=NONE, guards=GUARDS, runs=True, vented=False):
    """State after so many ticks of a millisecond, whether the cuff was let go, whether the coil holds."""
    state, released, holds = backup_at_rest(), False, True
    for _ in range(ticks):
        state, released, holds = backup_tick(guards, fault, state, sensed, runs, vented, 0.0, 0.001)
    return state, released, holds


def test_in_peace_nothing_acts():
    state, released, holds = ticked(200)
    assert not released and holds and state.dump == 0.0 and not state.relief_open
    assert not state.switch.tripped and not state.watchdog.expired


@pytest.mark.parametrize(("why", "more"), [
    ("vented", {"vented": True}), ("switch", {"sensed": Places(290.0, 290.0)}), ("watchdog", {"runs": False}),
])
def test_each_of_them_lets_the_cuff_go(why, more):
    state, released, holds = ticked(60, **more)
    assert released and not holds and state.dump > 0.9
    assert state.switch.tripped == (why == "switch") and state.watchdog.expired == (why == "watchdog")


def test_without_power_the_coil_lets_go_and_nothing_remembers():
    state, released, holds = ticked(60, sensed=Places(290.0, 290.0), fault=disturbance(power=0.2), runs=False)
    assert not released and not holds and state.dump > 0.9 and not state.switch.tripped
    assert is_powered(disturbance(power=LEAST_POWER)) and not is_powered(disturbance(power=0.49))


@pytest.mark.parametrize("at_cuff", [False, True])
def test_pressure_is_felt_where_a_guard_sits(at_cuff):
    guards = GUARDS._replace(relief=GUARDS.relief._replace(at_cuff=at_cuff),
                             pressure_switch=GUARDS.pressure_switch._replace(at_cuff=at_cuff),
                             dump_valve=GUARDS.dump_valve._replace(at_cuff=at_cuff))
    high_cuff, _, _ = ticked(60, Places(299.0, 50.0), guards=guards)
    high_node, _, _ = ticked(60, Places(50.0, 299.0), guards=guards)
    assert high_cuff.relief_open == high_cuff.switch.tripped == at_cuff
    assert high_node.relief_open == high_node.switch.tripped == (not at_cuff)
    openings = open_now(guards, NONE, high_cuff._replace(dump=0.5), False)
    share = 0.5 * guards.dump_valve.conductance
    assert (openings.cuff, openings.node) == ((share, 0.0) if at_cuff else (0.0, share))


def test_the_pump_stops_with_what_was_let_go_or_by_itself():
    state = backup_at_rest()
    assert open_now(GUARDS, NONE, state, True).pump_dead and not open_now(GUARDS, NONE, state, False).pump_dead
    leaks = disturbance(pump_dead=True, node_conductance=0.1, feed_conductance=0.2)
    found = open_now(GUARDS, leaks, state, False)
    assert found.pump_dead and (found.node, found.cuff, found.feed) == (0.1, 0.0, 0.2)
