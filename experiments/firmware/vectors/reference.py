"""What the simulator's own compiled functions answer to a stimulus, number for number."""
from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.fixed.law import FixedLaw, initial_fixed
from controller.protection.protection import Protection, initial_protection, protection_step
from controller.protection.watched import Watched
from controller.tick.firmware import FILL, Firmware, FirmwareState, Order, firmware_tick
from controller.tick.law import initial_control
from experiments.firmware.emit.kinds import hints_of
from experiments.firmware.emit.single import Twins, rounded
from experiments.firmware.vectors.flat import columns, flat_into, from_row
from plant.declare import compiled
from plant.numerics.layout import leaves

Rows = NDArray[np.float64]


@compiled
def law_rows(firmware: Firmware, start: FirmwareState, inputs: Rows, rows: Rows) -> None:
    """Fill a row a tick with state, command, terms and whether a limit acted."""
    state = start
    for k in range(len(inputs)):
        given = inputs[k]
        order = Order(int(given[0]), given[1], given[2], given[3])
        state, command, terms, limited = firmware_tick(firmware, state, order, given[4], given[5])
        flat_into((state, command, terms, limited), rows[k])


def initial_firmware(firmware: Firmware) -> FirmwareState:
    """A firmware before its first tick."""
    fixed = isinstance(firmware.coefficients, FixedLaw)
    control: Any = initial_fixed() if fixed else initial_control()
    return FirmwareState(control, 0.0, FILL)


def law_reference(firmware: Firmware, inputs: Rows) -> tuple[list[str], Rows]:
    """Names and values, shape (ticks, numbers), of all that the law's tick gives."""
    start = initial_firmware(firmware)
    state, _, terms, _ = firmware_tick(firmware, start, Order(0, 0.0, 0.0, 1.0), 0.0, 0.0)
    names = [*columns(state, "state"), "command", *columns(terms, "terms"), "limited"]
    rows = np.empty((len(inputs), len(names)))
    law_rows(firmware, start, np.ascontiguousarray(inputs), rows)
    return names, rows


@compiled
def protection_rows(part: Protection, model: Watched, start: Any, inputs: Rows, rows: Rows) -> None:
    """Fill a row a tick with the protection's state."""
    state = start
    for k in range(len(inputs)):
        state = protection_step(part, state, from_row(model, inputs[k]))
        flat_into(state, rows[k])


def usual_watched() -> Watched:
    """A record of the protection's inputs, for its kinds."""
    empty: dict[type, Any] = {bool: False, int: 0, float: 0.0}
    return Watched(*(empty[hints_of(Watched)[name]] for name in Watched._fields))


def seen_from(part: Protection) -> Watched:
    """What the vectors' inputs come on top of: the check sum that is expected."""
    return usual_watched()._replace(settings=part.settings_check.expected)


def protection_reference(part: Protection, inputs: Rows) -> tuple[list[str], Rows]:
    """Names and values, shape (ticks, numbers), of the protection's state."""
    start = initial_protection()
    names = [name for name, _ in leaves(start)]
    rows = np.empty((len(inputs), len(names)))
    protection_rows(part, seen_from(part), start, np.ascontiguousarray(inputs), rows)
    return names, rows


def single_reference(firmware: Firmware, part: Protection, law_inputs: Any, seen_inputs: Any) -> tuple[Any, Any]:
    """The rows of both in single precision, by the twins."""
    twins = Twins()
    tick, step = twins.twin(firmware_tick), twins.twin(protection_step)
    base = seen_from(part)
    firmware, part, state = rounded(firmware), rounded(part), rounded(initial_firmware(firmware))
    law = []
    for given in law_inputs:
        order = Order(int(np.floor(given[0])), given[1], given[2], given[3])
        answer = tick(firmware, state, order, given[4], given[5])
        state = answer[0]
        law.append([float(value) for _, value in leaves(answer)])
    kinds = [hints_of(Watched)[name] for name in Watched._fields]
    seen_state, protection = rounded(initial_protection()), []
    for given in seen_inputs:
        values: list[Any] = [bool(v > 0.5) if kind is bool else own + int(np.floor(v)) if kind is int else v
                         for v, kind, own in zip(given, kinds, base, strict=True)]
        seen_state = step(part, seen_state, Watched(*values))
        protection.append([float(value) for _, value in leaves(seen_state)])
    return np.array(law, np.float32), np.array(protection, np.float32)
