"""A failure in a run, with all protection or with some of it taken away: what acted, when, and how high it went."""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from controller.protection.guards import PROTECTIONS, guard_parts
from experiments.bench.asked import Asked, Refused, spoken
from experiments.bench.setup import whole_record
from experiments.bench.wire import Answer
from experiments.rigs.rig import Rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.fault import AT_START, FAILURE
from experiments.safety.faults.single import simulate_failing
from experiments.simulation.failing import Protected
from experiments.simulation.simulate import Plan
from plant.errors import InputError
from plant.messages import value_text
from plant.pressure.record import PressureTrace

FILL_s, SETTLE_s, RUN_s = 8.0, 2.0, 24.0  # after less filling the set point is off, and protection acts by itself
EARLIEST_s, LATEST_s, USUAL_s = 10.0, 18.0, 12.0  # onset of a failure
MOST_POINTS = 2400
DRAWN = ("arterial_mmHg", "cuff_mmHg", "shown_mmHg", "light", "command")


def failures_of(rig: Rig) -> list[dict[str, Any]]:
    """Every failure of the catalogue in words, and why this rig cannot have it where it cannot."""
    return [
        {"name": fault.name, "item": fault.item, "mode": fault.mode, "start": fault.onset == AT_START,
         "failure": fault.kind == FAILURE, "excluded": fault.excluded(rig)} for fault in CATALOGUE.values()
    ]


def protections_of(rig: Rig) -> list[dict[str, Any]]:
    """Every protection that can be switched off by itself, and whether the rig has it on."""
    parts = guard_parts(rig.guards)
    return [{"name": name, "enabled": bool(parts[name].enabled)} for name in PROTECTIONS]


def broken(asked: Asked) -> Iterator[Answer]:
    """A run with one failure. Raises Refused for names that are none and numbers out of range."""
    name, severity, onset_s, lost = _options(asked.options)
    rig = asked.made()
    trace = _part(whole_record(asked.setup, rig.timing.period_s))
    plan = Plan(FILL_s, SETTLE_s)
    early = bool(name) and CATALOGUE[name].onset == AT_START
    failures = f"{name}:{severity:.6g}" if name else ""
    try:
        found = simulate_failing(rig, trace, failures, None if early else onset_s, lost, plan, asked.setup.seed)
    except InputError as error:
        raise Refused(spoken(error), asked.moved) from None
    yield Answer(broken_head(found, 0.0 if early else onset_s), broken_curves(found))


def _options(options: dict[str, Any]) -> tuple[str, float, float, tuple[str, ...]]:
    """Failure, severity, onset and missing protections. Raises Refused."""
    name, severity, onset_s = options.get("failure", ""), options.get("severity", 1.0), options.get("onset_s", USUAL_s)
    lost = options.get("lost", [])
    if not isinstance(name, str) or (name and name not in CATALOGUE):
        raise Refused(f"failure = {value_text(name)} is not known")
    for what, value, low, high in (("severity", severity, 0.0, 1.0), ("onset_s", onset_s, EARLIEST_s, LATEST_s)):
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
            raise Refused(f"{what} = {value_text(value)} must be a number from {low:g} to {high:g}")
    if not isinstance(lost, list) or not all(one in PROTECTIONS for one in lost):
        raise Refused(f"lost = {value_text(lost)}: use some of {', '.join(PROTECTIONS)}")
    return name, float(severity), float(onset_s), tuple(lost)


def _part(trace: PressureTrace) -> PressureTrace:
    samples = min(round(RUN_s / trace.period_s) + 1, len(trace.pressure_mmHg))
    return trace._replace(pressure_mmHg=np.ascontiguousarray(trace.pressure_mmHg[:samples]),
                          usable=np.ascontiguousarray(trace.usable[:samples]))


def broken_head(found: Protected, onset_s: float) -> dict[str, Any]:
    """What acted and when, in order, and the figures of the run."""
    acted = sorted((at, name) for name, at in found.acted.items() if at >= 0.0)
    return {
        "status": found.run.status, "message": found.run.message, "onset_s": onset_s,
        "acted": [{"name": name, "after_s": at} for at, name in acted], "figures": found.figures,
        "seconds": len(found.run.channels["cuff_mmHg"]) * found.run.period_s,
    }


def broken_curves(found: Protected) -> dict[str, Any]:
    """Curves of the run, thinned for drawing; what nobody is shown is a gap."""
    channels, period = found.run.channels, found.run.period_s
    every = max(1, math.ceil(len(channels["cuff_mmHg"]) / MOST_POINTS))
    curves: dict[str, Any] = {name: channels[name][::every] for name in DRAWN}
    return {"time_s": np.arange(0, len(channels["cuff_mmHg"]), every) * period, **curves}
