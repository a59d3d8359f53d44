"""One search on one finger, with everything that it asked and saw, and the truth beside it."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Seen
from calibrate.searches import ArctangentSearch, ClassroomSearch
from calibrate.staircase import NO_PULSE_SNR, RISE_s, Staircase, Step, measure, saturated, too_loose
from calibrate.waveform_search import WaveformSearch
from calibrate.probing_search import ProbingSearch
from experiments.beats import beat_values, detect_beats
from experiments.calibration import LONGEST_s, Calibration, find_set_point, record_inputs
from experiments.finger import Finger, finger_inputs, on_finger
from experiments.instrument import NOMINAL_mmHg
from experiments.rig import Rig, clamp
from experiments.session import COLUMN, Samples, Session
from experiments.simulate import mean_pressure
from experiments.steps import steps_a_tick
from experiments.strategies import OwnSearch, Strategy
from plant.artery import half_width, static_area, unloaded_pressure
from plant.errors import InputError
from plant.light import light_intensity
from plant.operating_point import OperatingPoint, substeps_needed
from plant.pressure_record import PressureTrace

FEWEST_STEPS = 5  # Runge–Kutta steps a tick; set-point errors then move by some hundredths of a mmHg against 12
COARSE_REACH = 2.0  # |λ|·step that these may reach: stable to about 2.8
JUDGED = "judged"  # the clamp over which the error is read


@dataclass(frozen=True)
class Trial:
    """A search, from the empty cuff to the clamp at what it found."""

    rig: Rig  # on its finger
    name: str  # of the finger, or of the record
    about: str
    strategy: Strategy
    instrument: Instrument
    session: Session
    calibration: Calibration
    point: OperatingPoint | None  # the true clamp at mean pressure and resting tone; None where there is none
    seed: int

    @property
    def period_s(self) -> float:
        """Tick period [s]."""
        return self.instrument.period_s

    @property
    def judged(self) -> slice:
        """Ticks over which the error is read; none after a failure."""
        last = self.session.requests[-1] if self.session.requests else None
        end = self.session.state.tick
        judged = isinstance(last, Clamp) and last.purpose == JUDGED
        return slice(end - self.instrument.ticks(last.seconds), end) if judged and last is not None else slice(end, end)


class Phase(NamedTuple):
    """One request of a search, in time."""

    start_s: float
    end_s: float
    kind: str  # hold, clamp or vent
    purpose: str
    count: int  # requests joined in it


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


class Truth(NamedTuple):
    """What only the simulation knows, as means over the clamp that is judged or, without one, at rest."""

    unloaded_mmHg: float  # transmural pressure of peak compliance, p0
    half_width_mmHg: float  # p1
    light: float  # at which the artery is unloaded now, with wall and veins as they are
    cuff_mmHg: float  # mean cuff pressure that unloads it
    light_slope: float  # light per mmHg of cuff pressure there, static [1/mmHg]
    transmural_mmHg: float  # mean that was held; nan after a failure
    systolic_mmHg: float  # of the arterial pressure during the search; nan without beats
    diastolic_mmHg: float


def usual_substeps(rig: Rig) -> int:
    """Runge–Kutta steps a tick for many searches: 5, or as many more as the rig's fastest mode needs to stay stable."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    return max(FEWEST_STEPS, substeps_needed(rig.plant, [point], rig.timing.period_s, COARSE_REACH, math.inf))


def finger_trial(rig: Rig, finger: Finger, strategy: Strategy, instrument: Instrument, substeps: int) -> Trial:
    """Search on a virtual finger; beats, tone and noise follow its seed. Raises InputError for a finger out of bounds.

    `instrument` is that of the bare rig: the firmware does not know whose finger it is on.
    """
    own = on_finger(rig, finger)
    inputs = finger_inputs(own, finger, instrument.ticks(LONGEST_s) * instrument.period_s)
    try:
        point = clamp(own, float(np.mean(inputs.arterial_mmHg)), finger.tone.level)
    except InputError:  # no pressure to clamp at, or no light to clamp by: a search should say so
        point = None
    session = Session(own, inputs, finger.seed, substeps)
    slope = point.light_slope if point else math.nan
    calibration = find_set_point(session, instrument, strategy.search, slope)
    p = finger.pressure
    about = f"{finger.group} group, {p.systolic_mmHg:.0f}/{p.diastolic_mmHg:.0f} mmHg, {p.rate_per_min:.0f} beats/min"
    if finger.defect:
        about = f"made unmeasurable: {finger.defect.replace('_', ' ')}"
    return Trial(own, finger.name, about, strategy, instrument, session, calibration, point, finger.seed)


def record_trial(
    rig: Rig, trace: PressureTrace, strategy: Strategy, instrument: Instrument, seed: int, substeps: int | None = None
) -> Trial:
    """Search on the rig's own finger with a record's pressure, as `check` does."""
    point = clamp(rig, mean_pressure(trace), rig.tone.level)
    session = Session(rig, record_inputs(rig, trace, instrument, seed), seed, substeps or steps_a_tick(rig, point))
    calibration = find_set_point(session, instrument, strategy.search, point.light_slope)
    return Trial(rig, trace.name, trace.source, strategy, instrument, session, calibration, point, seed)


def phases(trial: Trial) -> list[Phase]:
    """What was asked, one request after the other; neighbours of one kind and purpose are joined."""
    found: list[Phase] = []
    tick = 0
    for request, rows in zip(trial.session.requests, trial.session.blocks, strict=True):
        start, tick = tick * trial.period_s, tick + len(rows)
        kind = type(request).__name__.lower()
        if found and kind == "clamp" and found[-1].kind == kind and found[-1].purpose == request.purpose:
            found[-1] = found[-1]._replace(end_s=tick * trial.period_s, count=found[-1].count + 1)
        else:
            found.append(Phase(start, tick * trial.period_s, kind, request.purpose, 1))
    return found


def step_rows(trial: Trial) -> list[StepRow]:
    """The holds of a search, measured as the built-in searches measure them."""
    inner = trial.strategy.search.inner if isinstance(trial.strategy.search, OwnSearch) else trial.strategy.search
    stairs = getattr(inner, "stairs", Staircase())
    settle_s = stairs.settle_s if isinstance(stairs, Staircase) else Staircase().settle_s
    measured: list[tuple[float, Hold, Seen, Step]] = []
    tick = 0
    for request, rows in zip(trial.session.requests, trial.session.blocks, strict=True):
        if isinstance(request, Hold):
            seen = seen_of(rows)
            settle = min(settle_s, 0.5 * len(rows) * trial.period_s)
            measured.append((tick * trial.period_s, request, seen, measure(seen, settle, trial.period_s)))
        tick += len(rows)
    largest = max((step.rise for _, _, _, step in measured), default=0.0)
    rows_out = []
    for i, (start_s, request, seen, step) in enumerate(measured):
        note = _note(inner, i, request, seen, step, largest, trial)
        seconds = len(seen.light) * trial.period_s
        rise = step.rise if len(step.depth) * trial.period_s > RISE_s else math.nan
        rows_out.append(StepRow(i + 1, start_s, seconds, request.purpose, step.pressure_mmHg, step.mean_light, rise,
                                step.noise, note))
    return rows_out


def seen_of(rows: Samples) -> Seen:
    """What the firmware saw of rows of channels."""
    return Seen(*(rows[:, COLUMN[name]] for name in ("light", "reading_mmHg", "command", "limited")))


def _note(inner: object, number: int, asked: Hold, seen: Seen, step: Step, largest: float, trial: Trial) -> str:
    """Whether a search used a step, or why not."""
    if number == 0 and too_loose(seen, asked.pressure_mmHg, trial.instrument):
        return "not used: the cuff filled too slowly"
    if saturated(seen, trial.instrument):
        return "not used: the light is at an end of its converter"
    share = step.rise / largest if largest > 0.0 else 0.0
    brief = len(step.depth) * trial.period_s <= RISE_s
    weak = not brief and min(step.wobble, step.rise) <= NO_PULSE_SNR * step.noise
    if weak:
        return "no pulsation beyond noise"
    if isinstance(inner, ClassroomSearch):
        if asked.purpose not in ("way up", "between"):
            return "where the clamp starts"
        failed = isinstance(trial.calibration.outcome, Failed)
        return "USED: largest pulsation" if share == 1.0 and not failed else f"not used: {100 * share:.0f} % of the largest"
    if isinstance(inner, (ArctangentSearch, WaveformSearch, ProbingSearch)):
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


def truth_of(trial: Trial) -> Truth:
    """The truth beside a search."""
    plant, rows, inputs = trial.rig.plant, trial.session.rows, trial.session.inputs
    judged = trial.judged if len(rows[trial.judged]) else slice(0, max(len(rows), 1))
    tone = float(np.mean(inputs.tone[judged]))
    unloaded = float(unloaded_pressure(plant.artery, tone))
    arterial = float(np.mean(inputs.arterial_mmHg[judged]))
    half_area = float(static_area(plant.artery, unloaded, tone))
    light, held = math.nan, math.nan
    if len(rows[trial.judged]):
        transmural = rows[judged, COLUMN["arterial_mmHg"]] - rows[judged, COLUMN["external_mmHg"]]
        held = float(np.mean(transmural))
        quick = half_area - float(np.mean([static_area(plant.artery, float(p), tone) for p in transmural[::5]]))
        veins = float(np.mean(rows[judged, COLUMN["venous_volume"]]))
        # the creeping share of the area stays as it is
        area = float(np.mean(rows[judged, COLUMN["area"]])) + plant.artery.fast_fraction * quick
        light = float(light_intensity(plant.light, area, veins, plant.light.ambient))
    elif trial.point:
        light = trial.point.light
    pressure = inputs.arterial_mmHg[: max(len(rows), 2)]
    beats = beat_values(pressure, detect_beats(pressure, trial.period_s), trial.period_s)
    some = len(beats.systolic_mmHg) > 0
    return Truth(
        unloaded, float(half_width(plant.artery, tone)), light, (arterial - unloaded) / plant.tissue.transmission,
        trial.point.light_slope if trial.point else math.nan, held,
        float(np.mean(beats.systolic_mmHg)) if some else math.nan,
        float(np.mean(beats.diastolic_mmHg)) if some else math.nan,
    )


def inside_interval(calibration: Calibration) -> bool | None:
    """Whether the error lies within the stated 90 % interval; None after a failure."""
    if not isinstance(calibration.outcome, Found):
        return None
    return bool(abs(calibration.error_mmHg) <= calibration.outcome.interval_mmHg)
