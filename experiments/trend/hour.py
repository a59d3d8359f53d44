"""A person in a scenario, clamped under a schedule, and read: the run, and the truth that belongs to every beat.

The servo is that of the comparison of schedules; of the waveform that is shown every FACTOR ticks are averaged, so that
an hour's beats are found in a second.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.level import LevelKnown
from calibrate.schedule.names import NamedSchedule
from calibrate.schedule.schedule import Diary
from calibrate.search.probing_search import ProbingSearch
from experiments.calibration.schedule.piece import IN_TIME, SparseInputs, follow
from experiments.readings.beats.reasons import Reason
from experiments.readings.beats.stream import beats_of
from experiments.readings.chain.chain import Known, Readings, readings
from experiments.readings.chain.truth import LATEST_s
from experiments.readings.output.variation import Ventilation
from experiments.readings.people.wearer import wearer_of
from experiments.readings.servo.rig_servo import rig_servo
from experiments.rigs.rig import NOMINAL_mmHg, Rig, clamp
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import Session
from experiments.simulation.steps import few_steps
from plant.circulation.person_name import Named
from plant.circulation.person_pressure import PersonRecord
from plant.finger.artery import unloaded_pressure
from plant.scenarios.person_story import PersonStory, RECORD_s, person_story

Samples = NDArray[np.float64]
READ_s = 4e-3  # of a sample of the waveform that beats are found in
LEAST_s = 20.0  # of waveform that anything is read from
TIDAL_mL_kg = 8.0  # the person is ventilated, so that variation means something


class Wanted(NamedTuple):
    """Who wears what for how long."""

    rig: Rig
    who: Named
    scenario: str
    seconds: float
    seed: int
    estimator: str


class Told(NamedTuple):
    """A scenario on a person, the same for all schedules; truth by heartbeat, shape (beats,) and (beats, 3)."""

    story: PersonStory
    inputs: SparseInputs
    opening_s: Samples  # of the aortic valve
    stroke_mL: Samples
    arm_mmHg: Samples  # systolic, mean, diastolic; nan where no beat was found at the arm


class Hour(NamedTuple):
    """What was shown and read."""

    schedule: str
    shown_s: Samples  # (stretches, 2): begin and end of each unbroken piece of waveform
    seconds: float
    found: Readings | None  # None: too little was shown
    beat: NDArray[np.int64]  # of each beat read, its place among the true ones; −1 for none
    ended: str  # 'in time', or why before
    looks: int  # searches and shorter looks after the first search
    wave_mmHg: Samples  # as it was shown, every READ_s or so; nan where it was not


class _Waveform:
    """All that is shown."""

    def __init__(self) -> None:
        self.ticks = 0
        self._blocks: list[NDArray[np.float32]] = []

    def add(self, shown_mmHg: Samples, highest_mmHg: float) -> None:
        """The next ticks."""
        self.ticks += len(shown_mmHg)
        self._blocks.append(shown_mmHg.astype(np.float32))

    def averaged(self, factor: int) -> Samples:
        """Means of so many ticks; nan where one of them was not shown."""
        whole = np.concatenate([np.empty(0, np.float32), *self._blocks])
        rows = len(whole) // factor
        return np.asarray(np.mean(whole[: rows * factor].reshape(rows, factor), axis=1, dtype=np.float64))


def tell(wanted: Wanted) -> Told:
    """The scenario on the person. Raises InputError."""
    rig = wanted.rig
    story = person_story(wanted.scenario, wanted.who, rig.tone, rig.plant.light.ambient, rig.timing.period_s,
                         wanted.seconds, wanted.seed)
    circulation, beats = story.circulation, story.record.beats
    single: list[Any] = [column.astype(np.float32) for column in (
        circulation.arterial_mmHg, circulation.tone, circulation.ambient)]
    return Told(story, SparseInputs(*single), beats.opening_s[:-1], beats.stroke_mL, arm_truth(story.record))


def arm_truth(record: PersonRecord) -> Samples:
    """Systolic, mean and diastolic pressure at the upper arm by heartbeat."""
    found, opening = beats_of(record.arm_mmHg, RECORD_s), record.beats.opening_s[:-1]
    truth = np.full((len(opening), 3), np.nan)
    place = places(opening, found.onset_s)
    kept = place >= 0
    truth[place[kept]] = np.stack([found.systolic_mmHg, found.mean_mmHg, found.diastolic_mmHg], axis=1)[kept]
    return truth


def places(opening_s: Samples, onset_s: Samples) -> NDArray[np.int64]:
    """Of each foot the heartbeat that it belongs to; −1 for none."""
    place = np.searchsorted(opening_s, onset_s, side="right") - 1
    known = (place >= 0) & (onset_s - opening_s[np.maximum(place, 0)] < LATEST_s)
    return np.where(known, place, -1)


def run_hour(wanted: Wanted, told: Told, schedule: NamedSchedule) -> Hour:
    """Clamp under a schedule, and read what is shown."""
    rig, instrument = wanted.rig, instrument_of(wanted.rig)
    steps = few_steps(rig, clamp(rig, NOMINAL_mmHg, rig.tone.level))
    session = Session(rig, told.inputs, wanted.seed, steps, keep=False)
    diary, log = Diary(), _Waveform()
    ended = follow(session, lambda: schedule.schedule.program(instrument, ProbingSearch(), diary), instrument, log)
    factor = max(1, round(READ_s / rig.timing.period_s))
    wave, period_s = log.averaged(factor), factor * rig.timing.period_s
    shown = np.isfinite(wave)
    stretches = period_s * _edges(shown)
    found = read(wanted, wave, period_s)
    beat = np.empty(0, np.int64) if found is None else places(told.opening_s, found.beats.onset_s)
    looks = sum(entry.what in ("search", "recalibration") for entry in diary.entries) - 1
    seconds = wanted.seconds if ended != IN_TIME else len(wave) * period_s
    return Hour(schedule.name, stretches, seconds, found, beat, ended, max(looks, 0), wave)


def _edges(shown: NDArray[np.bool_]) -> Samples:
    """First sample and end of every stretch, shape (stretches, 2)."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], shown.astype(np.int8), [0]])))
    return np.asarray(edge.reshape(-1, 2), float)


def read(wanted: Wanted, wave: Samples, period_s: float, perfect: bool = False) -> Readings | None:
    """All readings of what was shown; None of less than LEAST_s of it. `perfect`: by a servo that bends nothing."""
    shown = np.isfinite(wave)
    if np.count_nonzero(shown) * period_s < LEAST_s:
        return None
    condition = np.where(shown, 0, int(Reason.GAP)).astype(np.uint8)
    condition[: int(np.argmax(shown))] = int(Reason.SEARCH)
    rig = wanted.rig
    level = LevelKnown(p0_mmHg=float(unloaded_pressure(rig.plant.artery, rig.tone.level)),
                       transmission=rig.plant.tissue.transmission)
    breath = Ventilation(True, TIDAL_mL_kg, True, wanted.who.rhythm.breaths_per_min)
    # a reference at the start: its value does not matter here, for the beats of the first minute set it afterwards
    loop = None if perfect else rig_servo(rig, float(np.mean(wave[shown])) + level.p0_mmHg)
    known = Known(wearer_of(wanted.who.person), level, wanted.estimator, wanted.who.state.stroke_mL,
                  ventilation=breath, loop=loop)
    return readings(wave, period_s, condition, known)


