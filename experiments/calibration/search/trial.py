"""One search on one finger, with everything that it asked and saw, and the truth beside it."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calibrate.protocol import Clamp, Found, Instrument
from calibrate.search.confirmation import Confirmation
from calibrate.search.strategies import Strategy
from experiments.rigs.rig import NOMINAL_mmHg, Rig, clamp
from experiments.simulation.session import COLUMN, Session
from experiments.simulation.set_point import Calibration, LONGEST_s, Sessions, find_set_point, record_inputs
from experiments.simulation.simulate import mean_pressure
from experiments.simulation.steps import steps_a_tick
from experiments.subjects.finger import Finger, finger_inputs, on_finger
from plant.assembly import Inputs
from plant.errors import InputError
from plant.finger.artery import fast_share, half_width, static_area, unloaded_pressure
from plant.finger.light import light_intensity
from plant.operating_point import OperatingPoint, substeps_needed
from plant.pressure.beats import beat_values, detect_beats
from plant.pressure.record import PressureTrace

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
        tick = 0
        for request, rows in zip(self.session.requests, self.session.blocks, strict=True):
            if isinstance(request, Clamp) and request.purpose == JUDGED:
                return slice(tick, tick + len(rows))
            tick += len(rows)
        return slice(tick, tick)


class Truth(NamedTuple):
    """What only the simulation knows, as means over the clamp that is judged or, without one, at rest."""

    unloaded_mmHg: float  # transmural pressure of peak compliance, p0
    half_width_mmHg: float  # p1
    light: float  # at which the artery is unloaded now, with wall and veins as they are
    cuff_mmHg: float  # mean cuff pressure that unloads it
    light_slope: float  # light per mmHg of cuff pressure there, at the tone of then, as the loop sees it [1/mmHg]
    transmural_mmHg: float  # mean that was held; nan after a failure
    held_cuff_mmHg: float  # mean cuff pressure meanwhile; nan after a failure
    systolic_mmHg: float  # of the arterial pressure during the search; nan without beats
    diastolic_mmHg: float
    beat_s: float  # mean interval between two beats; nan without beats


def usual_substeps(rig: Rig) -> int:
    """Runge–Kutta steps a tick for many searches: 5, or as many more as the rig's fastest mode needs to stay stable."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    return max(FEWEST_STEPS, substeps_needed(rig.plant, [point], rig.timing.period_s, COARSE_REACH, math.inf))


def finger_trial(
    rig: Rig, finger: Finger, strategy: Strategy, instrument: Instrument, substeps: int, inputs: Inputs | None = None,
    confirmation: Confirmation | None = None, sessions: Sessions = Session,
) -> Trial:
    """Search on a virtual finger; beats, tone and noise follow its seed. Raises InputError for a finger out of bounds.

    `instrument` is that of the bare rig: the firmware does not know whose finger it is on. `inputs` are what
    `search_inputs` makes of the finger; without them they are made here. With a `confirmation` it follows the search.
    `sessions` makes that in which it all runs.
    """
    own = on_finger(rig, finger)
    inputs = inputs or search_inputs(own, finger, instrument)
    try:
        point = clamp(own, float(np.mean(inputs.arterial_mmHg)), finger.tone.level)
    except InputError:  # no pressure to clamp at, or no light to clamp by: a search should say so
        point = None
    session = sessions(own, inputs, finger.seed, substeps)
    slope = point.light_slope if point else math.nan
    calibration = find_set_point(session, instrument, strategy.search, slope, confirmation)
    p = finger.pressure
    about = f"{finger.group} group, {p.systolic_mmHg:.0f}/{p.diastolic_mmHg:.0f} mmHg, {p.rate_per_min:.0f} beats/min"
    if finger.defect:
        about = f"made unmeasurable: {finger.defect.replace('_', ' ')}"
    return Trial(own, finger.name, about, strategy, instrument, session, calibration, point, finger.seed)


def search_inputs(rig: Rig, finger: Finger, instrument: Instrument) -> Inputs:
    """Surroundings of a finger for as long as a search may take."""
    return finger_inputs(rig, finger, instrument.ticks(LONGEST_s) * instrument.period_s)


def record_trial(
    rig: Rig, trace: PressureTrace, strategy: Strategy, instrument: Instrument, seed: int, substeps: int | None = None,
    sessions: Sessions = Session,
) -> Trial:
    """Search on the rig's own finger with a record's pressure, as `check` does."""
    point = clamp(rig, mean_pressure(trace), rig.tone.level)
    session = sessions(rig, record_inputs(rig, trace, instrument, seed), seed, substeps or steps_a_tick(rig, point))
    calibration = find_set_point(session, instrument, strategy.search, point.light_slope, Confirmation())
    return Trial(rig, trace.name, trace.source, strategy, instrument, session, calibration, point, seed)


def truth_of(trial: Trial) -> Truth:
    """The truth beside a search."""
    plant, rows, inputs = trial.rig.plant, trial.session.rows, trial.session.inputs
    judged = trial.judged if len(rows[trial.judged]) else slice(0, max(len(rows), 1))
    tone = float(np.mean(inputs.tone[judged]))
    unloaded = float(unloaded_pressure(plant.artery, tone))
    arterial = float(np.mean(inputs.arterial_mmHg[judged]))
    half_area = float(static_area(plant.artery, unloaded, tone))
    light, held, held_cuff = math.nan, math.nan, math.nan
    if len(rows[trial.judged]):
        transmural = rows[judged, COLUMN["arterial_mmHg"]] - rows[judged, COLUMN["external_mmHg"]]
        held, held_cuff = float(np.mean(transmural)), float(np.mean(rows[judged, COLUMN["cuff_mmHg"]]))
        quick = half_area - float(np.mean([static_area(plant.artery, float(p), tone) for p in transmural[::5]]))
        veins = float(np.mean(rows[judged, COLUMN["venous_volume"]]))
        # the creeping share of the area stays as it is
        area = float(np.mean(rows[judged, COLUMN["area"]])) + float(fast_share(plant.artery, tone)) * quick
        light = float(light_intensity(plant.light, area, veins, plant.light.ambient))
    elif trial.point:
        light = trial.point.light
    pressure = inputs.arterial_mmHg[: max(len(rows), 2)]
    onsets = detect_beats(pressure, trial.period_s)
    beats = beat_values(pressure, onsets, trial.period_s)
    some = len(onsets) > 1
    return Truth(
        unloaded, float(half_width(plant.artery, tone)), light, (arterial - unloaded) / plant.tissue.transmission,
        _light_slope(trial.rig, arterial, tone) if trial.point else math.nan, held, held_cuff,
        float(np.mean(beats.systolic_mmHg)) if some else math.nan,
        float(np.mean(beats.diastolic_mmHg)) if some else math.nan,
        float(np.mean(np.diff(onsets))) * trial.period_s if some else math.nan,
    )


def _light_slope(rig: Rig, arterial_mmHg: float, tone: float) -> float:
    """Light per mmHg of cuff pressure as the loop sees it; NaN where tone has left too little to hold on to."""
    try:
        return clamp(rig, arterial_mmHg, tone).light_slope
    except InputError:
        return math.nan


def inside_interval(calibration: Calibration) -> bool | None:
    """Whether the error lies within the stated 90 % interval; None after a failure."""
    if not isinstance(calibration.outcome, Found):
        return None
    return bool(abs(calibration.error_mmHg) <= calibration.outcome.interval_mmHg)
