"""One schedule in one scenario on a batch of fingers: the surroundings, the run, and what the waveform was worth.

Surroundings are kept in single precision and the waveform is reduced to beats as it comes, so that an hour on a tick
of a millisecond takes some 30 MB a finger.
"""
from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.display import shown_waveform
from calibrate.protocol import Instrument, Search
from calibrate.schedule import Diary, Program, Schedule
from experiments.coupled import Inputs
from experiments.finger import Finger, on_finger
from experiments.messages import one_line
from experiments.rig import Rig
from experiments.scenarios import scenario_inputs
from experiments.schedule_metrics import BeatLog, Reference, Samples, reference
from experiments.session import COLUMN, Diverged, OutOfTime, Session

BATCH = 8  # fingers that are run together
STEPS = 5  # Runge–Kutta steps a tick: against 12, no figure of the wrist rig moves by more than its own noise
IN_TIME, GAVE_UP, DIVERGED, BROKE = "in time", "gave up", "diverged", "broke"
Mark = tuple[float, str]


class Batch(NamedTuple):
    """One unit of work."""

    rig: Rig
    instrument: Instrument
    search: Search
    schedule: Schedule
    scenario: str
    fingers: tuple[Finger, ...]
    seconds: float


class ScheduleRun(NamedTuple):
    """What one finger came to."""

    figures: Samples  # by METRICS
    course: NDArray[np.float32]  # (3, bins): error [mmHg], share of time shown, tone
    ended: str  # 'in time', or how the run ended before: 'gave up: …', 'diverged: …', 'broke: …'
    marks: tuple[Mark, ...]  # (time in s, what happened)
    diary: tuple[tuple[float, str, float, str], ...]  # time [s], what, moved [mmHg], why


class Stopped(Exception):
    """Somebody has asked for the work to be given up."""


class SparseInputs(Inputs):
    """Surroundings in single precision; double only where a part is cut out for the kernel."""

    def part(self, first: int, end: int) -> Inputs:
        """Ticks first … end, as the kernel takes them."""
        return Inputs(*(np.array(v[first : end + 1], np.float64) for v in self))


class Story(NamedTuple):
    """A scenario on a finger: what happens, and what would be right to show."""

    inputs: SparseInputs
    true: Reference
    marks: tuple[Mark, ...]


class Lane(NamedTuple):
    """One finger on its way."""

    rig: Rig  # on the finger
    inputs: SparseInputs
    seed: int
    program: Program
    log: BeatLog
    diary: Diary


def run_batch(
    batch: Batch, stopped: Callable[[], bool] = lambda: False, advance: Callable[[float], None] = lambda seconds: None
) -> list[ScheduleRun]:
    """Run a batch to its end, one result a finger. Raises Stopped once `stopped` says so, InputError for a bad finger.

    `advance` is called with the simulated seconds of each step. What a run came to depends on its finger alone, not on
    those beside it.
    """
    stories = [story(batch.rig, finger, batch.scenario, batch.seconds) for finger in batch.fingers]
    lanes = []
    for finger, told in zip(batch.fingers, stories, strict=True):
        diary = Diary()
        program = batch.schedule.program(batch.instrument, batch.search, diary)
        log = BeatLog(told.true, batch.rig.timing.period_s)
        lanes.append(Lane(on_finger(batch.rig, finger), told.inputs, finger.seed, program, log, diary))
    return [
        _result(lane, told, ended, batch.seconds)
        for (lane, ended), told in zip(follow(lanes, batch.instrument, stopped, advance), stories, strict=True)
    ]


def follow(
    lanes: list[Lane], instrument: Instrument, stopped: Callable[[], bool], advance: Callable[[float], None]
) -> Iterable[tuple[Lane, str]]:
    """Run each lane's program to its end: (lane, how it ended). This alone knows how ticks are made."""
    for lane in lanes:
        session = Session(lane.rig, lane.inputs, lane.seed, STEPS, keep=False)
        yield lane, _follow_one(lane, session, instrument, stopped, advance)


def _follow_one(
    lane: Lane, session: Session, instrument: Instrument, stopped: Callable[[], bool], advance: Callable[[float], None]
) -> str:
    try:
        request = next(lane.program)
        while not stopped():
            seen = session.ask(request, instrument)
            lane.log.add(shown_waveform(request, seen, instrument), _highest(session))
            advance(len(seen.light) * instrument.period_s)
            request = lane.program.send(seen)
    except Diverged:
        highest = _highest(session)
        lane.log.add(np.full(len(session.blocks[-1]), np.nan), highest)
        return f"{DIVERGED}: cuff pressure went to {highest:.4g} mmHg at {lane.log.ticks * instrument.period_s:.3f} s"
    except OutOfTime:
        return IN_TIME
    except StopIteration as end:
        return f"{GAVE_UP}: {getattr(end.value, 'message', end.value)}"
    except MemoryError:
        raise
    except Exception as error:  # a schedule may be the user's own code; one that breaks is a result like any other
        return one_line(f"{BROKE}: {type(error).__name__}: {error}", 300)
    raise Stopped


def _highest(session: Session) -> float:
    """Highest cuff pressure of the last request, whose ticks are then forgotten."""
    rows = session.blocks[-1]
    del session.blocks[:-1]
    return float(np.max(rows[:, COLUMN["cuff_mmHg"]]))


def _result(lane: Lane, told: Story, ended: str, seconds: float) -> ScheduleRun:
    if ended != IN_TIME:
        lane.log.pass_time(len(told.inputs.arterial_mmHg) - 1)
    counts: dict[str, int] = {}
    for entry in lane.diary.entries:
        counts[entry.what] = counts.get(entry.what, 0) + 1
    return ScheduleRun(
        lane.log.figures([time for time, _ in told.marks], counts), lane.log.course(told.inputs.tone), ended,
        told.marks, tuple((float(e.time_s), e.what, float(e.moved_mmHg), e.why) for e in lane.diary.entries),
    )


@lru_cache(maxsize=BATCH)  # schedules follow one another on the same fingers
def _story(finger: Finger, scenario: str, seconds: float, period_s: float) -> Story:
    told = scenario_inputs(scenario, finger.pressure, finger.tone, finger.light.ambient, period_s, seconds, finger.seed)
    pressure, tone, ambient = (_single(v) for v in (told.arterial_mmHg, told.tone, told.ambient))
    if np.ptp(ambient) == 0.0:
        ambient = np.broadcast_to(ambient[:1], ambient.shape)  # a number, however long the run
    inputs = SparseInputs(pressure, tone, ambient)
    true = reference(pressure, tone, finger.artery, finger.fit.transmission, period_s)
    return Story(inputs, true, tuple(told.marks))


def _single(values: NDArray[Any]) -> NDArray[Any]:
    return values.astype(np.float32)


def story(rig: Rig, finger: Finger, scenario: str, seconds: float) -> Story:
    """A scenario on a finger by the finger's own seed: the same for every schedule. Raises InputError."""
    return _story(finger, scenario, seconds, rig.timing.period_s)
