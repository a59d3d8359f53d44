"""The steps of one search as the firmware saw them: a table with what became of each, and the law behind them."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from calibrate.protocol import Failed, Hold, Seen
from calibrate.search.arctangent import ArctangentFit, fit_arctangent
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.searches import ArctangentSearch, ClassroomSearch
from calibrate.search.staircase import NO_PULSE_SNR, RISE_s, Staircase, Step, measure, saturated, too_loose
from calibrate.search.strategies import OwnSearch
from calibrate.search.waveform_search import WaveformSearch
from experiments.calibration.search.trial import Trial
from experiments.simulation.session import COLUMN, Samples

FITTING = (ArctangentSearch, WaveformSearch, ProbingSearch)  # they start from a fit of the arctangent law
CLIMB = ("way up", "between")  # purposes of the staircase proper


class Phase(NamedTuple):
    """One request of a search, in time."""

    start_s: float
    end_s: float
    kind: str  # hold, clamp or vent
    purpose: str
    times: int  # requests joined in it


class StepRow(NamedTuple):
    """One hold of the staircase as the firmware saw it, and what became of it."""

    number: int  # from 1
    start_s: float
    seconds: float
    purpose: str
    cuff_mmHg: float  # mean reading once settled
    light: float  # mean, share of full scale
    pulsation: float  # rise of optical depth in a beat: about the share of the light; nan when watched too briefly
    noise: float  # standard deviation of the same measurement without a pulse
    note: str  # used, or why not
    transmural_mmHg: float  # mean during the step, as only the simulation knows it


def phases(trial: Trial) -> list[Phase]:
    """What was asked, one request after the other; neighbours of one kind and purpose are joined."""
    found: list[Phase] = []
    tick = 0
    for request, rows in zip(trial.session.requests, trial.session.blocks, strict=True):
        start, tick = tick * trial.period_s, tick + len(rows)
        kind = type(request).__name__.lower()
        if found and kind == "clamp" and found[-1].kind == kind and found[-1].purpose == request.purpose:
            found[-1] = found[-1]._replace(end_s=tick * trial.period_s, times=found[-1].times + 1)
        else:
            found.append(Phase(start, tick * trial.period_s, kind, request.purpose, 1))
    return found


def step_rows(trial: Trial) -> list[StepRow]:
    """The holds of a search, measured as the built-in searches measure them."""
    held = _measured(trial)
    largest = max((step.rise for _, _, _, step in held), default=0.0)
    found = []
    for i, (start_s, request, rows, step) in enumerate(held):
        note = _note(trial, i, request, seen_of(rows), step, largest)
        rise = step.rise if len(step.depth) * trial.period_s > RISE_s else math.nan
        found.append(StepRow(
            i + 1, start_s, len(rows) * trial.period_s, request.purpose, step.pressure_mmHg, step.mean_light, rise,
            step.noise, note, _transmural(rows),
        ))
    return found


def coarse_law(trial: Trial) -> ArctangentFit | None:
    """The arctangent law that a search fitted to its staircase; None when it fits none, or did not come so far."""
    if not (isinstance(_inner(trial), FITTING) and _fitted(trial)):
        return None
    return fit_arctangent([step for _, request, _, step in _measured(trial) if request.purpose in CLIMB])


def _measured(trial: Trial) -> list[tuple[float, Hold, Samples, Step]]:
    """(start [s], request, rows, what it showed) of each hold."""
    stairs = getattr(_inner(trial), "stairs", Staircase())
    settle_s = stairs.settle_s if isinstance(stairs, Staircase) else Staircase().settle_s
    found: list[tuple[float, Hold, Samples, Step]] = []
    tick = 0
    for request, rows in zip(trial.session.requests, trial.session.blocks, strict=True):
        if isinstance(request, Hold) and len(rows) > 2:
            settle = min(settle_s, 0.5 * len(rows) * trial.period_s)
            found.append((tick * trial.period_s, request, rows, measure(seen_of(rows), settle, trial.period_s)))
        tick += len(rows)
    return found


def _inner(trial: Trial) -> object:
    search = trial.strategy.search
    return search.inner if isinstance(search, OwnSearch) else search


def _transmural(rows: Samples) -> float:
    half = rows[len(rows) // 2 :]
    return float(np.mean(half[:, COLUMN["arterial_mmHg"]] - half[:, COLUMN["external_mmHg"]]))


def seen_of(rows: Samples) -> Seen:
    """What the firmware saw of rows of channels."""
    return Seen(*(rows[:, COLUMN[name]] for name in ("light", "reading_mmHg", "command", "limited")))


def _note(trial: Trial, number: int, asked: Hold, seen: Seen, step: Step, largest: float) -> str:
    """Whether a search used a step, or why not."""
    inner = _inner(trial)
    if number == 0 and too_loose(seen, asked.pressure_mmHg, trial.instrument):
        return "not used: the cuff filled too slowly"
    if saturated(seen, trial.instrument):
        return "not used: the light is at an end of its converter"
    share = step.rise / largest if largest > 0.0 else 0.0
    brief = len(step.depth) * trial.period_s <= RISE_s
    weak = not brief and min(step.residual_rms, step.rise) <= NO_PULSE_SNR * step.noise
    if weak:
        return "no pulsation beyond noise"
    if isinstance(inner, ClassroomSearch):
        if asked.purpose not in CLIMB:
            return "where the clamp starts"
        failed = isinstance(trial.calibration.outcome, Failed)
        if share == 1.0 and not failed:
            return "USED: largest pulsation"
        return f"not used: {100 * share:.0f} % of the largest"
    if isinstance(inner, FITTING):
        if asked.purpose == "level":
            return "used: the level is read here"
        if _fitted(trial):
            return "used: in the fit" if share < 1.0 else "used: in the fit; largest pulsation"
        return "not used: the search ended before its fit"
    return "largest pulsation" if share == 1.0 else f"{100 * share:.0f} % of the largest"


def _fitted(trial: Trial) -> bool:
    """Whether a search came as far as its fit: it then asked for a level, or said that no law fits."""
    outcome = trial.calibration.outcome
    levels = any(isinstance(r, Hold) and r.purpose == "level" for r in trial.session.requests)
    return levels or (isinstance(outcome, Failed) and outcome.reason == "too irregular")
