"""What the firmware does on one tick: read, run the mode's law, drive the actuator stage, limit, quantise.

Modes are few: FILL brings cuff pressure to a start value by the transducer, CLAMP holds the light at its set point,
VENT lets the air out. A change into CLAMP is bumpless: the controller starts at the command in force, and its set
point starts at the light of that moment and moves to the ordered one at a limited rate. Far from the unloaded volume
the artery's gain is low, and a large first error would throw the cuff pressure.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from controller.tick.inverse import Direct, FlowInverse, command_at, demand_at, stage_at
from controller.tick.law import (
    Coefficients,
    ControllerState,
    Terms,
    bumpless_start,
    control_demand,
    control_settle,
    limit_command,
    quantise_command,
    told_terms,
)
from plant.declare import fused, inlined, quantity
from plant.numerics.integrate import selected
from plant.numerics.vector import choose

FILL, CLAMP, VENT = 0, 1, 2  # modes, as order and state hold them
MODES = ("fill", "clamp", "vent")


class Filling(NamedTuple):
    """How cuff pressure is brought to its start value before the clamp: demand = k (target − reading) + k_f target."""

    gain_per_mmHg: Annotated[float, quantity("1/mmHg", 0, 10, "demand per missing pressure", "invented")] = 0.02
    feedforward_per_mmHg: Annotated[
        float, quantity("1/mmHg", 0, 1, "demand per target pressure; 1/range for a pressure-type valve", "invented")
    ] = 0.0
    handover_mmHg_s: Annotated[
        float, quantity("mmHg/s", 0, 1e5, "speed of the set point into the clamp, as pressure; 0: at once", "invented")
    ] = 40.0


class Firmware(NamedTuple):
    """Everything the firmware is built with; the actuator stage comes in variants, told apart by class."""

    coefficients: Coefficients
    stage: Direct | FlowInverse
    filling: Filling


class Order(NamedTuple):
    """What the firmware is asked to do on this tick."""

    mode: int  # FILL, CLAMP or VENT
    fill_mmHg: float  # start pressure of FILL
    set_point: float  # light, fraction of full scale
    light_slope: float  # light per mmHg of cuff pressure at the set point [1/mmHg]


class FirmwareState(NamedTuple):
    """What the firmware remembers between ticks."""

    control: ControllerState
    command: float  # last command, limited but before its quantiser
    mode: int  # mode of the last tick
    set_point: float = 0.0  # set point in force
    arrived: bool = True  # at the ordered one; else it is on its way


@inlined
def moving_set_point(firmware: Firmware, state: FirmwareState, order: Order, light: float) -> float:
    """Set point in force on this tick: from the light at the change into CLAMP to the ordered one, rate-limited.

    Once it has arrived, the ordered set point holds directly: whoever moves it later moves it as they like.
    """
    rate = firmware.filling.handover_mmHg_s * order.light_slope * firmware.coefficients.period_s
    clamped = state.mode == CLAMP
    last = choose(clamped, state.set_point, light)
    moving = min(max(order.set_point, last - rate), last + rate)
    return choose((order.mode != CLAMP) | (rate <= 0.0) | (clamped & state.arrived), order.set_point, moving)  # type: ignore[no-any-return]


@fused
def firmware_tick(
    firmware: Firmware, state: FirmwareState, order: Order, light: float, reading_mmHg: float
) -> tuple[FirmwareState, float, Terms, bool]:
    """One tick: new state, quantised valve command, terms for telemetry, and whether a limit acted."""
    coefficients, stage = firmware.coefficients, firmware.stage
    aim = moving_set_point(firmware, state, order, light)
    error = (aim - light) / order.light_slope
    clamped, believed = order.mode == CLAMP, stage_at(stage, reading_mmHg)
    start = bumpless_start(coefficients, error, demand_at(stage, state.command, believed))
    control = selected(clamped & (state.mode != CLAMP), start, state.control)
    demand, terms = control_demand(coefficients, control, error)
    missing = order.fill_mmHg - reading_mmHg
    fill = firmware.filling.gain_per_mmHg * missing + firmware.filling.feedforward_per_mmHg * order.fill_mmHg
    wanted = command_at(stage, choose(order.mode == FILL, fill, demand), believed)
    wanted = choose(order.mode == VENT, coefficients.output_low, wanted)
    command, limited = limit_command(coefficients, state.command, wanted)
    # the difference of the same function at both commands: exactly nothing when nothing was limited
    wound = demand_at(stage, command, believed) - demand_at(stage, wanted, believed)
    achieved = demand + choose(limited, wound, 0.0)
    control = selected(clamped, control_settle(coefficients, control, terms, achieved), control)
    after = FirmwareState(control, command, order.mode, aim, aim == order.set_point)
    return after, quantise_command(coefficients, command), told_terms(coefficients, terms), limited
