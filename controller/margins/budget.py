"""Phase budget: how many degrees each part of the loop costs at crossover.

Parts in series are charged their own phase. Line and cuff load each other, so the tube is charged what the loop loses
against the same rig without a tube. What the continuous parts, hold and dead time do not explain is the sampling
itself (aliasing); with it the rows add up to the phase of the exact sampled loop.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop, sampled
from controller.response import sweep
from controller.tick.law import block_responses
from plant.linear import join
from plant.operating_point import OUTPUTS, part_twins
from plant.pneumatics.tube import NoTube
from plant.pneumatics.tube import linear_twin as tube_twin

Complex = NDArray[np.complex128]


class BudgetRow(NamedTuple):
    """One part's share of the phase at crossover."""

    part: str
    phase_deg: float  # negative costs, positive is lead


def phase_budget(loop: Loop, crossover_Hz: float) -> list[BudgetRow]:
    """Rows that sum to the phase of the exact loop at `crossover_Hz`, unwrapped from low frequency."""
    omega = 2.0 * np.pi * np.geomspace(min(0.05, crossover_Hz / 10.0), crossover_Hz, 400)
    rows = {f"controller: {name}": value for name, value in block_responses(loop.coefficients, omega).items()}
    rows |= _plant_rows(loop, omega)
    period, dead = loop.timing.period_s, loop.timing.dead_time_s
    rows["hold"] = np.exp(-0.5j * omega * period)
    rows["dead time"] = np.exp(-1j * omega * dead)
    rows["valve inverse"] = _inner_loop(loop, omega)
    exact = sweep(sampled(loop), omega) * sweep(loop.coefficients, omega)
    explained = np.prod(list(rows.values()), axis=0)
    rows["sampling"] = exact / explained
    return [BudgetRow(name, _last_degrees(value)) for name, value in rows.items() if not _trivial(value)]


def _plant_rows(loop: Loop, omega: NDArray[np.float64]) -> dict[str, Complex]:
    twins = part_twins(loop.plant, loop.point, loop.side)
    whole = join(list(twins.values()), ("command", "arterial_pressure"), OUTPUTS)
    bare = dict(twins)
    bare["tube"] = tube_twin(NoTube(), loop.plant.air, 0.0)
    direct = join(list(bare.values()), ("command", "arterial_pressure"), OUTPUTS)
    valve = twins["valve"].response("valve_flow", "command", omega)
    without = direct.response("cuff_pressure", "command", omega)
    with_tube = whole.response("cuff_pressure", "command", omega)
    tissue = twins["tissue"].response("external_pressure", "cuff_pressure", omega)
    segment = -twins["segment"].response("transmural_pressure", "external_pressure", omega)
    wall = twins["wall"].response("area", "transmural_pressure", omega)
    photodiode = -twins["photodiode"].response("light", "area", omega)
    light = whole.response("light", "command", omega)
    return {
        "valve": valve,
        "cuff": without / valve,
        "tube": with_tube / without,
        "tissue": tissue,
        "artery segment": segment,
        "wall": wall,
        "photodiode": photodiode,
        "venous blood": light / (with_tube * tissue * segment * wall * photodiode),
    }


def _inner_loop(loop: Loop, omega: NDArray[np.float64]) -> Complex:
    """What the actuator stage's own look at the measured pressure does to the loop."""
    whole = sampled(loop)
    straight = whole._replace(by_reading=0.0)
    return sweep(whole, omega) / sweep(straight, omega)


def _last_degrees(value: Complex) -> float:
    return float(np.degrees(np.unwrap(np.angle(value))[-1]))


def _trivial(value: Complex) -> bool:
    return bool(np.max(np.abs(np.angle(value))) < 1e-9)
