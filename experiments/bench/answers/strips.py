"""The clamp in time: one run on the beginning of the record, as curves, with what it tells of each beat."""
from __future__ import annotations

import functools
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import CLAMP
from experiments.bench.answers.kernel import is_at_hand
from experiments.check.check import run_tracking
from experiments.check.tracking import Tracking
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Plan, Ready, Run, prepare, run_ready
from experiments.work.progress import tell
from plant.errors import InputError
from plant.pneumatics.tube import Tube
from plant.pressure.beats import Indices, detect_beats
from plant.pressure.record import PressureTrace

COARSE_STEPS = 3  # Runge–Kutta steps a tick while a knob moves: within 0.2 mmHg of careful ones
FILL_s, SETTLE_s = 0.3, 1.7  # the cuff begins full, veins and wall at rest: it needs less time than after filling
MOST_POINTS = 2500  # of a curve; beyond the pixels of any page
FEWER_POINTS = 850  # while a knob moves: painting takes longer than the run itself
Curves = dict[str, NDArray[Any]]
DRAWN = {
    "arterial_mmHg": "arterial_mmHg", "cuff_mmHg": "cuff_mmHg", "light": "light", "area": "area", "command": "command",
    "external_mmHg": "external_mmHg",
}


class Target(NamedTuple):
    """Where the set point is held against the unloaded volume."""

    offset_mmHg: float = 0.0
    volume_error: float = 0.0


def strips_answer(
    rig: Rig, trace: PressureTrace, target: Target, quick: bool, pinned_sections: int = 0
) -> tuple[dict[str, Any], Curves]:
    """One run as curves and words. A kernel that is not in this process is never compiled here.

    Where the rig needs such a kernel, the run is made with `pinned_sections` of the tube if that helps; else there is
    none, and the head says what is missing.
    """
    plan = Plan(FILL_s, SETTLE_s, offset_mmHg=target.offset_mmHg, set_point_error=target.volume_error, filled=True)
    try:
        ready = prepare(rig, trace, plan, substeps=COARSE_STEPS if quick else None)
    except InputError as error:
        return {"run": None, "why": str(error)}, {}
    head: dict[str, Any] = {"compile": not is_at_hand(ready)}
    if head["compile"]:
        pinned = _pinned(rig, trace, plan, pinned_sections, quick)
        if pinned is None:
            return head | {"run": None, "why": "the kernel of these parts is being compiled aside, once"}, {}
        ready, head["pinned"] = pinned, pinned_sections
    tell(0.7)
    run = run_ready(ready)
    tell(0.8)
    head["set_point"] = ready.set_point
    told = run_head(run, run_tracking(run, onsets(trace), harmonics=False))
    return head | told, run_curves(run, FEWER_POINTS if quick else MOST_POINTS)


def _pinned(rig: Rig, trace: PressureTrace, plan: Plan, sections: int, quick: bool) -> Ready | None:
    """The same run with a tube of so many sections, if its kernel is at hand."""
    tube = rig.plant.tube
    if not sections or not isinstance(tube, Tube):
        return None
    plant = rig.plant._replace(tube=tube._replace(sections=sections))
    ready = prepare(rig._replace(plant=plant), trace, plan, substeps=COARSE_STEPS if quick else None)
    return ready if is_at_hand(ready) else None


def onsets(trace: PressureTrace) -> Indices:
    """Feet of the beats of a window, found once."""
    return _onsets(trace.pressure_mmHg.tobytes(), trace.period_s)


@functools.lru_cache(maxsize=16)
def _onsets(pressure: bytes, period_s: float) -> Indices:
    return detect_beats(np.frombuffer(pressure), period_s)


def run_head(run: Run, found: Tracking | None) -> dict[str, Any]:
    """What the run came to, as figures."""
    told: dict[str, Any] = {
        "run": run.status, "message": run.message, "seconds": len(run.channels["cuff_mmHg"]) * run.period_s,
        "steps": run.substeps, "counts_from_s": run.plan.fill_s + run.plan.settle_s,
        "clamp_from_s": run.plan.fill_s,
    }
    if found is not None:
        ideal, beats = found.ideal, found.ideal_beats
        told["tracking"] = {
            "rms_mmHg": ideal.rms_mmHg, "peak_mmHg": ideal.peak_mmHg, "bias_mmHg": ideal.bias_mmHg,
            "systolic_mmHg": beats.systolic.mean_mmHg, "mean_mmHg": beats.mean.mean_mmHg,
            "diastolic_mmHg": beats.diastolic.mean_mmHg, "beats": beats.beats, "pulse_mmHg": found.pulse_mmHg,
            "saturation_share": found.saturation_share, "arterial_rms_mmHg": found.arterial.rms_mmHg,
        }
    return told


def run_curves(run: Run, points: int = MOST_POINTS) -> Curves:
    """Curves of a run, thinned to so many points at most; time from the run's start [s]."""
    ticks = len(run.channels["cuff_mmHg"])
    every = max(1, math.ceil(ticks / points))
    curves: Curves = {"time_s": np.arange(0, ticks, every) * run.period_s}
    for name, channel in DRAWN.items():
        curves[name] = run.channels[channel][::every]
    clamped = run.channels["mode"][::every] == CLAMP
    ideal = run.ideal_mmHg[::every]
    curves["ideal_mmHg"] = ideal
    curves["error_mmHg"] = np.where(clamped, curves["cuff_mmHg"] - ideal, np.nan)
    return curves
