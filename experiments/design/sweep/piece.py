"""One piece of a sweep: a rig changed in some values, on one finger or record, under one controller or many.

Margins are the worst over mean, low and high pressure and both sides of the valve, as in `cuffloop check`. All
controllers that go with one plant are surveyed together, and the runs of several pieces go side by side.
"""
from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.disturbed import EFFORTS, Disturbance, Disturbed, disturbed
from controller.margins.gain_sets import gain_sets, margins_of_sets
from controller.margins.loop import build_loop, sides
from controller.margins.many_settings import GAINS, rows_of
from controller.margins.margins import ManyMargins, gain_margins_dB
from controller.tick.law import Coefficients, Controller, design
from experiments.check.agreement import LOWEST_Hz
from experiments.check.check import operating_pressures, run_tracking, tracking_figures
from experiments.design.sweep.axes import FINGER, own_finger
from experiments.rigs.rig import Rig, Source, clamp
from experiments.simulation.recorded import recorded_runs
from experiments.simulation.simulate import Ready, Run, mean_pressure, plan_at_rest, prepare
from experiments.subjects.disturbed import disturbances
from experiments.subjects.finger import Finger, finger_pressure, on_finger
from experiments.work.packed import storable
from plant.errors import InputError
from plant.operating_point import clamp_point
from plant.pressure.beats import Indices, detect_beats
from plant.pressure.record import PressureTrace, to_ticks
from plant.pressure.record_check import RawRecord
from plant.validate import validated

Reals = NDArray[np.float64]


class Figure(NamedTuple):
    """One figure of a point."""

    unit: str
    what: str
    worst: str  # 'min' or 'max': which end of it is the bad one


MARGINS: dict[str, Figure] = {
    "stable": Figure("1", "1 when every loop is stable, 0 when one is not", "min"),
    "signed_modulus_margin": Figure("1", "modulus margin, negative when unstable", "min"),
    "gain_margin_dB": Figure("dB", "gain margin", "min"),
    "gain_reduction_margin_dB": Figure("dB", "gain-reduction margin", "min"),
    "phase_margin_deg": Figure("°", "phase margin", "min"),
    "delay_margin_s": Figure("s", "delay margin", "min"),
    "delay_margin_ticks": Figure("ticks", "delay margin", "min"),
    "modulus_margin": Figure("1", "modulus margin", "min"),
    "sensitivity_peak": Figure("1", "sensitivity peak Ms", "max"),
    "crossover_Hz": Figure("Hz", "crossover", "min"),
    "bandwidth_Hz": Figure("Hz", "bandwidth", "min"),
    "command_noise_rms": Figure("1", "command, rms by light noise, share of full", "max"),
    "command_pulse_rms": Figure("1", "command, rms by the pulse, share of full", "max"),
    "command_step_sd": Figure("1", "command, SD from tick to tick, share of full", "max"),
    "command_limit_share": Figure("1", "share of ticks at a command limit, predicted", "max"),
    "predicted_rms_mmHg": Figure("mmHg", "error of following the pulse, rms, by the linear loop alone", "max"),
}
TRACKING: dict[str, Figure] = {
    "run_done": Figure("1", "1 when the clamp held, 0 when the run diverged or stayed at a limit", "min"),
    "rms_error_mmHg": Figure("mmHg", "tracking error, rms, simulated", "max"),
    "peak_error_mmHg": Figure("mmHg", "tracking error, peak, simulated", "max"),
    "bias_mmHg": Figure("mmHg", "tracking error, mean (size), simulated", "max"),
    "beat_systolic_mean_mmHg": Figure("mmHg", "magnitude of the mean systolic error", "max"),
    "beat_systolic_mean_percent": Figure("%", "magnitude of the mean systolic error, of pulse pressure", "max"),
    "beat_systolic_sd_mmHg": Figure("mmHg", "SD of the systolic error", "max"),
    "saturation_share": Figure("1", "share of time at a limit", "max"),
    "cuff_mmHg": Figure("mmHg", "highest cuff pressure", "max"),
}


class Case(NamedTuple):
    """What all pieces of a sweep have in common."""

    source: Source
    names: tuple[str, ...]  # dotted, of the values in a row
    simulated: bool
    trace: PressureTrace | None  # of the record; None where each finger has its own pressure
    raw: RawRecord | None  # the record before it was put on ticks; None for a synthetic one
    seconds: float  # of each finger's own pressure
    start_s: float
    seed: int

    @property
    def figures(self) -> dict[str, Figure]:
        """What is found at each point, in order."""
        return MARGINS | TRACKING if self.simulated else MARGINS


class Piece(NamedTuple):
    """Points that differ in controller values only."""

    rows: tuple[tuple[Any, ...], ...]  # each with a value for every name of the case
    finger: Finger | None  # None: the rig's own


@storable
class Answer(NamedTuple):
    """The figures of a piece; NaN all along, and a reason, where a point cannot be had at all."""

    figures: Reals  # (rows, figures)
    reasons: list[str]  # one a row, empty where all is well


class Surveyed(NamedTuple):
    """A piece whose margins are known, and what its runs begin from."""

    answer: Answer
    rig: Rig | None  # on its finger; None when no row could be had
    trace: PressureTrace | None
    controllers: dict[int, tuple[Controller, Coefficients]]  # by row
    seed: int


def run_piece(case: Case, piece: Piece) -> Answer:
    """The figures of every point of a piece. What cannot be built or clamped is an answer too, never an error."""
    return run_pieces(case, [piece])[0]


def run_pieces(case: Case, pieces: Sequence[Piece]) -> list[Answer]:
    """The figures of some pieces. Their runs go side by side; no figure depends on what goes beside it."""
    drawn: dict[Any, PressureTrace] = {}
    surveyed = [_surveyed(case, piece, drawn) for piece in pieces]
    if case.simulated:
        _run(surveyed)
    return [one.answer for one in surveyed]


def _surveyed(case: Case, piece: Piece, drawn: dict[Any, PressureTrace]) -> Surveyed:
    """A piece with its margins, the figures of its runs still to come; `drawn` keeps the pressures of fingers."""
    found = np.full((len(piece.rows), len(case.figures)), np.nan)
    reasons = [""] * len(piece.rows)
    answer = Answer(found, reasons)
    made: Rig | None = None
    controllers: dict[int, tuple[Controller, Coefficients]] = {}
    seed = case.seed if piece.finger is None else piece.finger.seed
    for i, row in enumerate(piece.rows):
        try:
            source = changed(case.source, case.names, row)
            if made is None:
                made = on_its_finger(case, piece.finger, row, source.rig())
            own = validated(Controller, source.tables.get("controller", {}), source.where, "controller")
            controllers[i] = own, design(own, made.timing.period_s)
        except InputError as error:
            reasons[i] = str(error)
    if made is None:
        return Surveyed(answer, None, None, {}, seed)
    rows = list(controllers)
    try:
        trace = _pressure(case, piece, piece.rows[rows[0]], made, drawn)
        mean = operating_pressures(trace)["mean"]
        slopes = np.array([_own_slope(made, own, mean, made.tone.level) for own, _ in controllers.values()])
        sets = [coefficients for _, coefficients in controllers.values()]
        found[rows, : len(MARGINS)] = _margins(made, trace, sets, slopes)
    except InputError as error:
        reasons[:] = [reason or str(error) for reason in reasons]
        return Surveyed(answer, None, None, {}, seed)
    return Surveyed(answer, made, trace, controllers, seed)


def _own_slope(rig: Rig, own: Controller, mean_mmHg: float, tone: float) -> float:
    """Light slope [1/mmHg] at mean pressure as a loop finds it: by a tone at its own crossover, so that it is the
    controller's too, not the plant's alone."""
    return clamp(rig._replace(controller=own), mean_mmHg, tone).light_slope


def _run(surveyed: Sequence[Surveyed]) -> None:
    """Put the figures of all runs, or the reason why there are none, into the answers."""
    runs: list[Ready] = []
    rows: list[tuple[Answer, int]] = []
    for answer, rig, trace, controllers, seed in surveyed:
        if rig is None or trace is None:
            continue
        try:
            ready = prepare(rig, trace, plan_at_rest(trace.duration_s), seed)
        except InputError as error:
            answer.reasons[:] = [reason or str(error) for reason in answer.reasons]
            continue
        for i, (own, coefficients) in controllers.items():
            loop = ready.loop._replace(firmware=ready.loop.firmware._replace(coefficients=coefficients))
            slope = _own_slope(rig, own, mean_pressure(trace), float(np.mean(ready.inputs.tone)))
            runs.append(ready._replace(rig=rig._replace(controller=own), loop=loop, light_slope=slope))
            rows.append((answer, i))
    onsets: dict[int, Indices] = {}  # of the beats of each trace, all in use for as long as this
    for number, run in recorded_runs(runs):
        answer, i = rows[number]
        arterial = run.channels["arterial_mmHg"]
        known = onsets.get(id(run.trace)) if len(arterial) == runs[number].ticks else None
        if known is None:
            known = detect_beats(arterial, run.period_s)
            if len(arterial) == runs[number].ticks:
                onsets[id(run.trace)] = known
        answer.figures[i, len(MARGINS) :] = tracking_row(run, known)


def changed(source: Source, names: Sequence[str], row: Sequence[Any]) -> Source:
    """A rig with these values; kinds first, as they take the other keys of their table with them."""
    pairs = [(*name.split(".", 1), value) for name, value in zip(names, row, strict=True) if not _of_finger(name)]
    for table, key, value in sorted(pairs, key=lambda pair: pair[1] != "kind"):
        if (table, key) == ("tube", "length_m") and value == 0.0:
            source = source.changed("tube", "kind", "none")._replace(
                tables={**source.tables, "tube": {"kind": "none"}})
        else:
            source = source.changed(table, key, value)
    return source


def _of_finger(name: str) -> bool:
    return name.partition(".")[0] == FINGER


def on_its_finger(case: Case, finger: Finger | None, row: Sequence[Any], rig: Rig) -> Rig:
    """The rig on a finger (None: its own) with the row's finger values. Raises InputError."""
    changed_finger = finger_with(finger or own_finger(rig), case.names, row)
    if finger is None and changed_finger == own_finger(rig):
        return rig
    return on_finger(rig, changed_finger)


def finger_with(finger: Finger, names: Sequence[str], row: Sequence[Any]) -> Finger:
    """A finger with the values of those names that are a finger's."""
    for name, value in zip(names, row, strict=True):
        if _of_finger(name):
            _, part, key = name.split(".")
            finger = finger._replace(**{part: getattr(finger, part)._replace(**{key: value})})
    return finger


def pressure_of(case: Case, finger: Finger | None, row: Sequence[Any], rig: Rig) -> PressureTrace:
    """Arterial pressure on the rig's ticks: the record's, or that of the finger with the row's values."""
    period = rig.timing.period_s
    if case.trace is None:
        own = finger or own_finger(rig)._replace(seed=case.seed)
        return finger_pressure(finger_with(own, case.names, row), period, case.seconds)
    if case.trace.period_s == period:
        return case.trace
    if case.raw is None:
        return finger_pressure(own_finger(rig)._replace(seed=case.seed), period, case.trace.duration_s)
    return to_ticks(case.raw, period, case.trace.duration_s, case.start_s)


def _pressure(
    case: Case, piece: Piece, row: Sequence[Any], rig: Rig, drawn: dict[Any, PressureTrace]
) -> PressureTrace:
    """`pressure_of`, drawn once for all plants on a finger of a population."""
    if piece.finger is None:
        return pressure_of(case, None, row, rig)
    key = finger_with(piece.finger, case.names, row), rig.timing.period_s
    if key not in drawn:
        drawn[key] = pressure_of(case, piece.finger, row, rig)
    return drawn[key]


def _margins(rig: Rig, trace: PressureTrace, given: list[Coefficients], slopes: Reals) -> Reals:
    """Worst margins over pressures and sides, shape (sets, figures); NaN for what an unstable loop has not.

    Each set's own light slope is a factor on its gains: all are surveyed on one loop, with the plant's slope.
    """
    mean = operating_pressures(trace)["mean"]
    slope = clamp_point(rig.plant, mean, rig.tone.level).light_slope
    rows = rows_of(given, np.ones(1))
    rows[:, [Coefficients._fields.index(name) for name in GAINS]] *= (slope / slopes)[:, None]
    sets = [Coefficients(*(float(value) for value in row)) for row in rows]
    many = gain_sets(sets)
    surveyed: list[ManyMargins] = []
    followed: list[Reals] = []
    efforts: list[Disturbed] = []
    for name, pressure in operating_pressures(trace).items():
        point = clamp(rig, pressure, rig.tone.level)
        for side in sides(rig.plant):
            loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, sets[0], slope)
            surveyed.append(margins_of_sets(loop, many))
            disturbance = disturbances([loop], rig, trace)[0]
            if name == "mean":
                followed.append(_of_each(disturbance.above(LOWEST_Hz), given, slopes / slope).pressure_mmHg)
            efforts.append(_of_each(disturbance, given, slopes / slope))
    columns = _worst(surveyed)
    columns["predicted_rms_mmHg"] = np.where(columns["stable"] == 1.0, np.max(followed, axis=0), np.nan)
    for name in EFFORTS:
        most = np.max([getattr(one, name) for one in efforts], axis=0)
        columns[name] = np.where(columns["stable"] == 1.0, most, np.nan)
    columns["delay_margin_ticks"] = columns["delay_margin_s"] / rig.timing.period_s
    return np.stack([columns[name] for name in MARGINS], axis=1)


def _of_each(disturbance: Disturbance, sets: list[Coefficients], ratios: Reals) -> Disturbed:
    """Error and command of each set at its own light slope, so many times that of the disturbance."""
    rows = rows_of(sets, np.ones(1))
    found = np.empty((len(Disturbed._fields), len(sets)))
    for ratio in np.unique(ratios):
        some = ratios == ratio
        found[:, some] = disturbed(sets[0], rows[some], disturbance.with_slope(float(ratio)))
    return Disturbed(*found)


def _worst(surveyed: list[ManyMargins]) -> dict[str, Reals]:
    """The worst of each figure over all loops, for every controller."""
    def stack(name: str) -> Reals:
        return np.array([getattr(many, name) for many in surveyed], float)

    stable, resolved = stack("stable") == 1.0, np.all(stack("resolved") == 1.0, axis=0)
    modulus = stack("modulus_margin")
    sound = np.all(stable, axis=0) & resolved

    def least(values: Reals) -> Reals:
        return np.where(sound, np.min(values, axis=0), np.nan)

    gain, reduction = gain_margins_dB(stack("gain_margin"), stack("gain_reduction_margin"))
    found = {
        "stable": np.where(resolved, np.all(stable, axis=0), np.nan).astype(float),
        "signed_modulus_margin": np.where(resolved, np.min(np.where(stable, modulus, -modulus), axis=0), np.nan),
        "gain_margin_dB": least(gain),
        "gain_reduction_margin_dB": least(reduction),
        "sensitivity_peak": -least(-stack("sensitivity_peak")),
    }
    plain = ("phase_margin_deg", "delay_margin_s", "modulus_margin", "crossover_Hz", "bandwidth_Hz")
    return found | {name: least(stack(name)) for name in plain}


def tracking_row(run: Run, onsets: Indices | None = None) -> list[float]:
    """Figures of a run at the true set point, in the order of TRACKING."""
    found: dict[str, Any] = tracking_figures(run, run_tracking(run, onsets, harmonics=False))
    systolic = found.get("beat_systolic_error_mmHg", {"mean": math.nan, "sd": math.nan})
    relative = found.get("beat_systolic_error_percent", {"mean": math.nan})
    found |= {"run_done": float(run.status == "done"), "beat_systolic_mean_mmHg": abs(systolic["mean"]),
              "beat_systolic_sd_mmHg": systolic["sd"], "beat_systolic_mean_percent": abs(relative["mean"])}
    return [float(found.get(name, math.nan)) for name in TRACKING]
