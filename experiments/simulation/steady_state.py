"""The coupled loop at rest in the clamp, to be perturbed: where every claim about small signals can be tried.

The plant is at a steady operating point, the firmware in CLAMP with filters at rest and its integral at the resting
demand, every command under way equal to the resting one. Left alone, nothing moves.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import resting_demand
from controller.tick.firmware import CLAMP, FirmwareState
from controller.tick.law import Coefficients, bumpless_start
from controller.tick.timing import dead_ticks
from experiments.rigs.rig import Rig
from experiments.simulation.coupled import CHANNELS, Orders, RunState, closed_loop, run_ticks
from experiments.simulation.steps import steps_a_tick
from plant.assembly import Inputs
from plant.operating_point import OperatingPoint

Samples = NDArray[np.float64]


def steady_start(rig: Rig, point: OperatingPoint, coefficients: Coefficients) -> tuple[RunState, Samples]:
    """State of the loop at rest at an operating point, and the commands under way, shape (whole dead ticks + 2,)."""
    control = bumpless_start(coefficients, 0.0, resting_demand(rig.stage, point))
    firmware = FirmwareState(control=control, command=float(point.command), mode=CLAMP)
    whole, _ = dead_ticks(rig.timing)
    return RunState(point.state, firmware, float(point.command), 0), np.full(whole + 2, float(point.command))


def perturbed(
    rig: Rig, point: OperatingPoint, coefficients: Coefficients, ticks: int, kick_mmHg: float, seed: int = 1,
    substeps: int | None = None,
) -> dict[str, Samples]:
    """Channels, each of shape (ticks,), of a clamp at constant arterial pressure after cuff pressure was kicked.

    Fewer samples when the run diverges. Raises InputError when the rig would need too many steps a tick.
    """
    start, pending = steady_start(rig, point, coefficients)
    start = start._replace(plant=start.plant._replace(cuff_mmHg=start.plant.cuff_mmHg + kick_mmHg))
    loop = closed_loop(rig, substeps or steps_a_tick(rig, point), coefficients)
    around = point.around
    inputs = Inputs(*(np.full(ticks + 1, float(value)) for value in around))
    orders = Orders(
        np.full(ticks, CLAMP, np.int64), np.full(ticks, float(point.state.cuff_mmHg)),
        np.full(ticks, float(point.light)), np.full(ticks, float(point.light_slope)),
    )
    rows = np.zeros((ticks, len(CHANNELS)))
    _, _, done = run_ticks(loop, seed, inputs, orders, start, pending, rows)
    return {name: np.ascontiguousarray(rows[:done, i]) for i, name in enumerate(CHANNELS)}
