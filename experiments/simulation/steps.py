"""Runge–Kutta steps a tick for a rig, and which of its parts is to blame when they would be too many.

The fastest mode is charged to the state that takes the largest part in it: |v_i w_i| of its right and left eigenvectors
(participation factors; Pérez-Arriaga, Verghese & Schweppe 1982, from memory).
"""
from __future__ import annotations

import math

import numpy as np

from controller.protection.guards import Guards
from controller.tick.timing import Timing
from experiments.rigs.rig import Rig
from plant.assembly import Plant, initial_state
from plant.errors import InputError
from plant.operating_point import (
    SIDES,
    OperatingPoint,
    fastest_pole,
    part_twins,
    plant_twin,
    substeps_needed,
    wide_open,
)
from plant.pneumatics.openings import least_steps

REACH = 2.3  # of |λ|·step in long studies; fourth-order Runge–Kutta is stable to 2.78 for real and ringing modes
MOST_STEPS = 2000  # a tick: a run would take minutes, and no part that is worth building is so fast
CURES: dict[str, tuple[str, str]] = {  # part of the twin: (table of the rig, what slows it down)
    "valve": ("valve", "lower its natural frequency or its damping ratio"),
    "supply": ("supply", "raise supply.volume_mL or lower valve.conductance"),
    "tube": ("tube", "raise tube.valve_volume_mL, tube.diameter_mm or tube.length_m, or lower valve.conductance"),
    "cuff": ("cuff", "raise cuff.volume_mL, or lower cuff.leak_mL_s_mmHg or valve.conductance"),
    "tissue": ("tissue", "raise tissue.lag_s"),
    "segment": ("segment", "raise segment.length_mm or segment.floor_ms"),
    "wall": ("artery", "raise artery.creep_time_s"),
    "vein": ("vein", "raise vein.emptying_s and vein.filling_s"),
    "photodiode": ("light", "lower light.bandwidth_Hz"),
    "transducer": ("transducer", "lower transducer.bandwidth_Hz"),
}


def steps_a_tick(rig: Rig, point: OperatingPoint) -> int:
    """Runge–Kutta steps a tick that follow the fastest part of a rig about a steady clamp.

    Raises InputError, naming that part and what slows it down, when they would be more than `MOST_STEPS`.
    """
    steps = substeps_needed(rig.plant, [point], rig.timing.period_s)
    if steps <= MOST_STEPS:
        return steps
    table, cure = CURES[fastest_part(rig, point)]
    raise InputError(
        f"rig {rig.name}: [{table}] is too fast for a tick of {rig.timing.period_s:g} s: {steps} steps a tick would be "
        f"needed, at most {MOST_STEPS} are taken; {cure}, or shorten timing.period_s"
    )


def few_steps(rig: Rig, point: OperatingPoint) -> int:
    """Runge–Kutta steps a tick for hours of simulation, where slow errors matter and single ticks do not.

    |λ|·step stays below `REACH` at a clamp and with the valve wide open; `DEVELOPERS.md` has what that costs. Never
    more than `steps_a_tick`. Raises InputError like it.
    """
    careful = steps_a_tick(rig, point)
    fastest = max(fastest_pole(rig.plant, case, side) for side in SIDES for case in (point, wide_open(point, side)))
    return min(max(math.ceil(fastest * rig.timing.period_s / REACH), 2), careful)


def fastest_part(rig: Rig, point: OperatingPoint) -> str:
    """The part of the plant's twin that takes the largest part in its fastest mode, the valve at rest or wide open."""
    fastest, blamed = -1.0, "valve"
    for side in SIDES:
        for case in (point, wide_open(point, side)):
            twin = plant_twin(rig.plant, case, side)
            owner = {state: part for part, own in part_twins(rig.plant, case, side).items() for state in own.states}
            poles, right = np.linalg.eig(twin.a)
            mode = int(np.argmax(np.abs(poles)))
            if abs(poles[mode]) > fastest:
                left = np.linalg.pinv(right)[mode]
                fastest = float(abs(poles[mode]))
                blamed = owner[twin.states[int(np.argmax(np.abs(right[:, mode] * left)))]]
    return blamed


def protected_steps(plant: Plant, guards: Guards, point: OperatingPoint, timing: Timing) -> tuple[int, int]:
    """Runge–Kutta steps a tick: with everything shut, and with relief and dump valve open.

    Chosen for stability (|λ|·step below 2.2 of Runge–Kutta's 2.8), not for the last hundredth of a mmHg, with the valve
    at rest and wide open and the cuff full and empty.
    """
    empty = initial_state(plant, point.around)
    most = 0.0
    for side in SIDES:
        wide = wide_open(point, side)
        for case in (point, wide, wide._replace(state=empty._replace(valve=point.state.valve))):
            most = max(most, fastest_pole(plant, case, side))
    usual = max(4, math.ceil(most * timing.period_s / 2.2))
    return usual, usual + open_steps(plant, guards, timing)


def open_steps(plant: Plant, guards: Guards, timing: Timing) -> int:
    """Runge–Kutta steps a tick that an open dump valve asks for, more than the plant's own."""
    dump = guards.dump_valve
    return least_steps(plant, dump.conductance, timing.period_s, at_cuff=dump.at_cuff) if dump.enabled else 1
