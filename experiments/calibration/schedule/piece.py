"""One finger in one scenario under one schedule after the other: the surroundings, the runs, what they were worth.

Surroundings are kept in single precision and the waveform is reduced to beats as it comes, so that an hour on a tick
of a millisecond takes some 30 MB a finger.
"""
from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import FAILURES, Instrument, Search
from calibrate.schedule.display import shown_waveform
from calibrate.schedule.schedule import Diary, Entry, Program, Schedule
from experiments.calibration.schedule.measures import BeatLog, Reference, Samples, reference
from experiments.rigs.rig import Rig
from experiments.simulation.session import COLUMN, Diverged, OutOfTime, Session
from experiments.subjects.finger import Finger, on_finger
from experiments.work.packed import storable
from plant.assembly import Inputs
from plant.messages import one_line
from plant.scenarios.scenario import scenario_inputs

IN_TIME, GAVE_UP, DIVERGED, BROKE = "in time", "gave up", "diverged", "broke"


class Task(NamedTuple):
    """One unit of work: a finger in a scenario, and the schedules that it is put through."""

    rig: Rig
    instrument: Instrument
    steps: int  # Runge–Kutta steps a tick
    search: Search
    schedules: tuple[Schedule, ...]
    scenario: str
    finger: Finger
    seconds: float


@storable
class Row(NamedTuple):
    """What one schedule came to."""

    figures: Samples  # by METRICS
    course: NDArray[np.float32]  # (3, bins): error [mmHg], share of time shown, tone
    ended: str  # 'in time', or how the run ended before: 'gave up: …', 'diverged: …', 'broke: …'
    failures: dict[str, int]  # by name
    marks: tuple[tuple[float, str], ...]  # (time in s, what happened)
    diary: tuple[tuple[float, str, float, str], ...]  # time [s], what, moved [mmHg], why


class SparseInputs(Inputs):
    """Surroundings in single precision; double only where a part is cut out for the kernel."""

    def part(self, first: int, end: int) -> Inputs:
        """Ticks first … end, as the kernel takes them."""
        return Inputs(*(np.array(v[first : end + 1], np.float64) for v in self))


class Story(NamedTuple):
    """A scenario on a finger: what happens, and what would be right to show."""

    inputs: SparseInputs
    true: Reference
    marks: tuple[tuple[float, str], ...]


def run_task(task: Task) -> list[Row]:
    """Put a finger through each schedule. Raises InputError for a bad finger.

    Beats, tone and noise are the same for all schedules: the finger's own seed makes them.
    """
    rig = on_finger(task.rig, task.finger)
    told = story(rig, task.finger, task.scenario, task.seconds)
    return [_run(task, rig, told, schedule) for schedule in task.schedules]


def story(rig: Rig, finger: Finger, scenario: str, seconds: float) -> Story:
    """A scenario on a finger by the finger's own seed. Raises InputError."""
    told = scenario_inputs(
        scenario, finger.pressure, finger.tone, finger.light.ambient, rig.timing.period_s, seconds, finger.seed)
    pressure, tone, ambient = (_single(v) for v in (told.arterial_mmHg, told.tone, told.ambient))
    if np.ptp(ambient) == 0.0:
        ambient = np.broadcast_to(ambient[:1], ambient.shape)  # a number, however long the run
    true = reference(pressure, tone, finger.artery, finger.fit.transmission, rig.timing.period_s)
    return Story(SparseInputs(pressure, tone, ambient), true, tuple(told.marks))


def _single(values: Samples) -> Any:
    return values.astype(np.float32)


def _run(task: Task, rig: Rig, told: Story, schedule: Schedule) -> Row:
    diary, log = Diary(), BeatLog(told.true, rig.timing.period_s)
    session = Session(rig, told.inputs, task.finger.seed, task.steps, keep=False)
    ended = follow(session, lambda: schedule.program(task.instrument, task.search, diary), task.instrument, log)
    if ended != IN_TIME:
        log.pass_time(len(told.inputs.arterial_mmHg) - 1)
    failures = failure_names(diary.entries, ended)
    counts = {what: sum(e.what == what for e in diary.entries) for what in ("search", "recalibration")}
    return Row(
        log.figures([time for time, _ in told.marks], counts | {"failures": sum(failures.values())}),
        log.course(told.inputs.tone), ended, failures, told.marks,
        tuple((float(e.time_s), e.what, float(e.moved_mmHg), e.why) for e in diary.entries),
    )


class Log(Protocol):
    """What takes the waveform that is shown."""

    ticks: int

    def add(self, shown_mmHg: Samples, highest_mmHg: float) -> None:
        """The next ticks: NaN where there is no waveform; and their highest cuff pressure."""


def follow(session: Session, begin: Callable[[], Program], instrument: Instrument, log: Log) -> str:
    """Run a schedule's program, which `begin` makes, to its end, and say how it ended."""
    try:
        program = begin()
        request = next(program)
        while True:
            seen = session.ask(request, instrument)
            log.add(shown_waveform(request, seen, instrument), _highest(session))
            request = program.send(seen)
    except Diverged:
        highest = _highest(session)
        log.add(np.full(len(session.blocks[-1]), np.nan), highest)
        return f"{DIVERGED}: cuff pressure went to {highest:.4g} mmHg at {log.ticks * instrument.period_s:.3f} s"
    except OutOfTime:
        return IN_TIME
    except StopIteration as end:
        return one_line(f"{GAVE_UP}: {getattr(end.value, 'message', end.value)}", 300)
    except MemoryError:
        raise
    except Exception as error:  # a schedule may be the user's own code; one that breaks is a result like any other
        return one_line(f"{BROKE}: {type(error).__name__}: {error}", 300)


def _highest(session: Session) -> float:
    return float(np.max(session.blocks[-1][:, COLUMN["cuff_mmHg"]]))


def failure_names(entries: Iterable[Entry], ended: str) -> dict[str, int]:
    """How often what went wrong: named failures of searches and looks, why a clamp was lost, and an early end.

    A new search says why it was needed; where that was noted as a failed look already, it counts once.
    """
    found: dict[str, int] = {}
    noted: set[str] = set()
    for place, entry in enumerate(entries):
        if entry.what == "failed":
            noted.add(entry.why)
        if entry.what == "failed" or (entry.what == "search" and place > 0 and entry.why not in {*noted, "start"}):
            name = reason_of(entry.why)
            found[name] = found.get(name, 0) + 1
        if entry.what == "search":
            noted.clear()
    if ended != IN_TIME:
        name = ended.partition(":")[0]
        found[name] = found.get(name, 0) + 1
    return found


def reason_of(message: str) -> str:
    """The name of a failure from its message: a key of FAILURES, or the message up to its first figure."""
    for name, (what, _) in FAILURES.items():
        if message.startswith(what):
            return name
    return one_line(re.split(r"[(:]|\s[+-]?\d", message)[0].strip(), 60)
