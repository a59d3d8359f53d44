"""What a failure is: a named injector with onset, duration and severity, and the case that it changes."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import VENT
from experiments.rigs.rig import Rig
from experiments.simulation.failing import Case as Case  # what an injector changes

Samples = NDArray[np.float64]
AT_START, IN_CLAMP = "start", "clamp"  # when a failure can begin
FAILURE, PHYSIOLOGY = "failure", "physiology"


Injector = Callable[[Case, float], Case]


def anywhere(rig: Rig) -> str:
    """Of a failure that any rig can have."""
    return ""


class Fault(NamedTuple):
    """One entry of the catalogue. Severity runs from 0 (next to nothing) to 1 (the worst that is meant)."""

    name: str
    item: str  # the part that fails
    mode: str  # how, in words
    inject: Injector
    onset: str = IN_CLAMP
    duration_s: float = math.inf
    severity: float = 1.0
    kind: str = FAILURE
    excluded: Callable[[Rig], str] = anywhere  # why a rig cannot have it, empty when it can
    of_law: bool = False  # what fails is inside the rig's own law, which somebody's firmware replaces
    to_empty: bool = False  # the cuff has to be emptied: what fails is whatever should have seen to it


def harm(case: Case, **changes: float) -> Case:
    """The case with fields of its disturbance set, each in the type that the kernel expects."""
    kinds = {name: type(value) for name, value in case.fault._asdict().items()}
    typed = {name: kinds[name](value) for name, value in changes.items()}
    return case._replace(fault=case.fault._replace(active=True, onset_tick=case.onset_tick, **typed))


def since_onset_s(case: Case) -> Samples:
    """Time since the onset [s] on every tick of the run."""
    count = len(case.inputs.arterial_mmHg)
    return np.asarray((np.arange(count) - case.onset_tick) * case.period_s)


def vented_from(case: Case, tick: int) -> Case:
    """The case with an order to vent from a tick on."""
    mode = np.array(case.orders.mode)
    mode[tick:] = VENT
    return case._replace(orders=case.orders._replace(mode=mode))


def part_changed(case: Case, table: str, **values: float) -> Case:
    """The case with values of one part of the plant set."""
    part = getattr(case.plant, table)
    return case._replace(plant=case.plant._replace(**{table: part._replace(**values)}))
