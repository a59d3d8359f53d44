"""Failures of valve, supply, tube and bladder. Sizes are invented unless said otherwise."""
from __future__ import annotations

from experiments.rigs.rig import Rig
from experiments.safety.faults.fault import AT_START, Case, Fault, harm, part_changed, vented_from
from plant.parts import line_end_volume, valve_nature, valve_slowed
from plant.pneumatics.cuff import content_at_rest
from plant.pneumatics.tube import NoTube, tube_inertance, tube_resistance

FEED, LEAK, HOLE = 0.02, 0.004, 0.5  # dm³/(s·bar): leaking seat, leaking joint, an open end
WET, SHUT = 8.0, 1e6  # multiples of a tube's resistance and inertance
FASTEST_per_s = 5000.0  # resistance over inertance of a narrowed tube: beyond, flow dies within a fraction of a step


def no_tube(rig: Rig) -> str:
    """Where there is no tube, none can fail."""
    return "it has no tube" if isinstance(rig.plant.tube, NoTube) else ""


def no_vent_side(rig: Rig) -> str:
    """Where the valve has no side of its own for venting, it cannot be stuck there."""
    return "" if valve_nature(rig.plant.valve).lowest_command < 0.0 else "its valve has no venting side"


def no_speed(rig: Rig) -> str:
    """A valve of the user's own need not say what slows it."""
    valve = rig.plant.valve
    return f"{type(valve).__name__} registers no valve_slowed" if valve_slowed(valve, 1.0) is None else ""


def _stuck(case: Case, command: float) -> Case:
    return harm(case, command_gain=0.0, command_offset=command)


def stuck_open(case: Case, severity: float) -> Case:
    """The valve fills, wide open at severity 1."""
    return _stuck(case, severity)


def stuck_closed(case: Case, severity: float) -> Case:
    """The valve stays in its idle position, whatever it is told; less severe, a share of the command comes through."""
    return harm(case, command_gain=1.0 - severity)


def stuck_half(case: Case, severity: float) -> Case:
    """The valve stays half open on its filling side."""
    return _stuck(case, 0.5 * severity)


def stuck_venting(case: Case, severity: float) -> Case:
    """The valve stays open to atmosphere."""
    return _stuck(case, valve_nature(case.plant.valve).lowest_command * severity)


def slow(case: Case, severity: float) -> Case:
    """A sticky valve: its speed falls to a tenth at severity 1."""
    return case._replace(plant=case.plant._replace(valve=valve_slowed(case.plant.valve, 1.0 - 0.9 * severity)))


def seat_leaks(case: Case, severity: float) -> Case:
    """Supply air seeps past the closed seat into the line."""
    return harm(case, feed_conductance=FEED * severity)


def reversed_valve(case: Case, severity: float) -> Case:
    """Its coil is connected the wrong way round."""
    if valve_nature(case.plant.valve).lowest_command < 0.0:
        return harm(case, command_gain=-1.0)
    return harm(case, command_gain=-1.0, command_offset=1.0)  # full current where there was none


def supply_high(case: Case, severity: float) -> Case:
    """The regulator lets up to twice the pressure through, at once."""
    pressure = min(case.plant.supply.pressure_mmHg * (1.0 + severity), case.plant.supply.stall_mmHg)
    changed = part_changed(case, "supply", pressure_mmHg=pressure)
    return changed._replace(state=case.state._replace(supply_mmHg=max(pressure, case.state.supply_mmHg)))


def supply_empty(case: Case, severity: float) -> Case:
    """The reservoir's hose is off: hardly any pressure, and the pump feeds the room."""
    changed = harm(case, pump_dead=True)
    return changed._replace(state=case.state._replace(supply_mmHg=case.state.supply_mmHg * (1.0 - 0.99 * severity)))


def pump_stuck_on(case: Case, severity: float) -> Case:
    """The pump runs on towards its stall pressure, whatever its regulator says."""
    return part_changed(case, "supply", pressure_mmHg=case.plant.supply.stall_mmHg, regulator_mL_s_mmHg=100.0)


def pump_stopped(case: Case, severity: float) -> Case:
    """The pump stands still and the reservoir runs down."""
    return harm(case, pump_dead=True)


def _narrowed(case: Case, factor: float) -> Case:
    tube = case.plant.tube
    if isinstance(tube, NoTube):
        return case
    pole = float(tube_resistance(tube)) / float(tube_inertance(tube))  # a narrow place adds more loss than inertance
    more = min(factor, max(FASTEST_per_s / pole, 1.0))
    return part_changed(
        case, "tube", inertance_factor=tube.inertance_factor * factor, loss_factor=tube.loss_factor * factor * more
    )


def kinked(case: Case, severity: float) -> Case:
    """The tube is pinched, shut at severity 1."""
    return _narrowed(case, SHUT**severity)


def wet(case: Case, severity: float) -> Case:
    """Water stands in the tube and narrows it."""
    return _narrowed(case, WET**severity)


def tube_leaks(case: Case, severity: float) -> Case:
    """A joint at the valve end leaks."""
    return harm(case, node_conductance=LEAK * severity)


def disconnected(case: Case, severity: float) -> Case:
    """The tube slips off the cuff: both ends are open to the room."""
    return harm(_narrowed(case, SHUT), node_conductance=HOLE, cuff_conductance=HOLE)


def bladder_leaks(case: Case, severity: float) -> Case:
    """A pinhole in the bladder."""
    return harm(case, cuff_conductance=LEAK * severity)


def bladder_bursts(case: Case, severity: float) -> Case:
    """The bladder tears."""
    return harm(case, cuff_conductance=HOLE * severity)


def _fit(case: Case, size: float, coupling: float) -> Case:
    cuff = case.plant.cuff
    changed = part_changed(case, "cuff", volume_mL=cuff.volume_mL * size)
    state = case.state
    return part_changed(changed, "tissue", transmission=case.plant.tissue.transmission * coupling)._replace(state=state)


def wrong_size(case: Case, severity: float) -> Case:
    """A cuff two sizes too large: more air, less of its pressure on the artery."""
    return _fit(case, 1.0 + 1.5 * severity, 1.0 - 0.1 * severity)


def loose(case: Case, severity: float) -> Case:
    """A cuff wrapped loosely: much air, and a third of its pressure lost in the slack."""
    return _fit(case, 1.0 + severity, 1.0 - 0.35 * severity)


def slipped(case: Case, severity: float) -> Case:
    """The cuff moves towards the fingertip: less coupling, another light path."""
    light = case.plant.light
    moved = part_changed(
        case, "light", arterial_path_cm=light.arterial_path_cm * (1.0 - 0.4 * severity),
        transmission=min(light.transmission * (1.0 + 0.3 * severity), 1.0),
    )
    return part_changed(moved, "tissue", transmission=case.plant.tissue.transmission * (1.0 - 0.25 * severity))


def exhaust_blocked(case: Case, severity: float) -> Case:
    """The valve's way out is blocked, a bleed through it too. A pressure-type valve can only raise its outlet then."""
    lowest, bleed = valve_nature(case.plant.valve).lowest_command, getattr(case.plant.valve, "bleed_conductance", None)
    if bleed is not None:
        case = part_changed(case, "valve", bleed_conductance=bleed * (1.0 - severity))
    return harm(case, command_least=lowest * (1.0 - severity), command_only_rises=lowest >= 0.0)


def _opened(case: Case, at_cuff: bool, conductance: float) -> Case:
    """A way out of the line, or of the cuff."""
    return harm(case, **{"cuff_conductance" if at_cuff else "node_conductance": conductance})


def relief_opens(case: Case, severity: float) -> Case:
    """The relief valve's spring breaks: its seat stays off."""
    relief = case.rig.guards.relief
    return _opened(case, relief.at_cuff, relief.conductance * severity)


def dump_opens(case: Case, severity: float) -> Case:
    """The dump valve's coil breaks, and nobody knows."""
    dump = case.rig.guards.dump_valve
    return _opened(case, dump.at_cuff, dump.conductance * severity)


def changeover_stuck(case: Case, severity: float) -> Case:
    """The finger's turn is over and the valve vents, but the change-over valve has shut this cuff off."""
    return vented_from(_narrowed(case, SHUT**severity), case.onset_tick)


def both_cuffs(case: Case, severity: float) -> Case:
    """The change-over valve stands between: the other finger's cuff is filled as well, in the middle of its rest."""
    cuff, air, tube = case.plant.cuff, case.plant.air, case.plant.tube
    two = cuff._replace(volume_mL=cuff.volume_mL * (1.0 + severity), growth_mL=cuff.growth_mL * (1.0 + severity))
    content = content_at_rest(two, air, case.state.cuff_mmHg, line_end_volume(tube))
    return case._replace(plant=case.plant._replace(cuff=two), state=case.state._replace(cuff_mL=float(content)))


HARDWARE: tuple[Fault, ...] = (
    Fault("valve_stuck_open", "valve", "stuck wide open", stuck_open),
    Fault("valve_stuck_closed", "valve", "stuck in its idle position", stuck_closed),
    Fault("valve_stuck_half", "valve", "stuck half open", stuck_half),
    Fault("valve_stuck_venting", "valve", "stuck open to atmosphere", stuck_venting, excluded=no_vent_side),
    Fault("valve_slow", "valve", "sticky: a tenth of its speed", slow, excluded=no_speed),
    Fault("valve_leaking", "valve", "seat leaks supply air", seat_leaks),
    Fault("valve_reversed", "valve", "coil the wrong way round", reversed_valve),
    Fault("supply_high", "supply", "regulator at twice its pressure", supply_high),
    Fault("supply_empty", "supply", "reservoir empty", supply_empty),
    Fault("pump_stuck_on", "supply", "pump runs on to its stall", pump_stuck_on),
    Fault("pump_stopped", "supply", "pump stands still", pump_stopped),
    Fault("tube_kinked", "tube", "pinched shut", kinked, excluded=no_tube),
    Fault("tube_leaking", "tube", "joint leaks", tube_leaks),
    Fault("tube_disconnected", "tube", "slipped off the cuff", disconnected, excluded=no_tube),
    Fault("tube_wet", "tube", "narrowed by water", wet, excluded=no_tube),
    Fault("bladder_leak", "bladder", "pinhole", bladder_leaks),
    Fault("bladder_burst", "bladder", "torn", bladder_bursts),
    Fault("bladder_wrong_size", "bladder", "two sizes too large", wrong_size, AT_START),
    Fault("bladder_loose", "bladder", "wrapped loosely", loose, AT_START),
    Fault("cuff_slipped", "bladder", "slipped towards the tip", slipped),
    Fault("vent_blocked", "valve", "its exhaust is blocked", exhaust_blocked),
    Fault("relief_opens", "relief valve", "opens unasked", relief_opens),
    Fault("dump_opens", "dump valve", "opens unasked", dump_opens),
    Fault("changeover_stuck", "change-over", "turn over, this cuff shut off", changeover_stuck, excluded=no_tube,
          to_empty=True),
    Fault("both_cuffs_full", "change-over", "stuck between, both cuffs full", both_cuffs, to_empty=True),
)
