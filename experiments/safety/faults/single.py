"""Named failures in a single run: what `simulate` does, with all protection, and with entries of the catalogue."""
from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from experiments.rigs.rig import Rig
from experiments.safety.faults.catalogue import find_faults
from experiments.safety.faults.fault import AT_START, Case, Fault
from experiments.simulation.failing import Protected, Trouble, simulate_protected
from experiments.simulation.simulate import USUAL, Plan
from plant.errors import InputError
from plant.pressure.record import PressureTrace


def simulate_failing(
    rig: Rig, trace: PressureTrace, failures: str = "", onset_s: float | None = None, lost: Sequence[str] = (),
    plan: Plan = USUAL, seed: int = 1,
) -> Protected:
    """Run a rig on a pressure trace with all its protection and failures by name, from `onset_s` [s] of the run on.

    `failures` are names of the catalogue, separated by commas, each with a severity if wanted (`tube_kinked:0.5`); they
    begin together, and the first to end ends them all. Without an onset they begin three seconds into the clamp, those
    that are there from the start with the run. `lost` names protections that are missing from the onset on. Raises
    InputError for names that are none, and for an onset that does not fit the trace or the failure.
    """
    return simulate_protected(rig, trace, plan, seed, trouble_of(rig, failures, onset_s, lost, plan))


def trouble_of(
    rig: Rig, failures: str, onset_s: float | None = None, lost: Sequence[str] = (), plan: Plan = USUAL
) -> Trouble:
    """What goes wrong in a run, by names; see `simulate_failing`."""
    faults = find_faults(failures, rig) if failures.strip() else []
    early = [fault.name for fault in faults if fault.onset == AT_START]
    if early and onset_s:
        raise InputError(f"fault {early[0]} is there from the start of a run: leave its onset out, or give 0")
    onset = 0.0 if early else plan.fill_s + 3.0 if onset_s is None else onset_s
    lasting = min((fault.duration_s for fault in faults), default=math.inf)
    return Trouble(partial(injected, tuple(faults)), onset, lasting, tuple(lost))


def injected(faults: tuple[Fault, ...], case: Case) -> Case:
    """The case after one failure and the next."""
    for fault in faults:
        case = fault.inject(case, fault.severity)
    return case
