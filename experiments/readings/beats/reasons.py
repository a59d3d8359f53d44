"""Why a beat must not count: what was under way, what the pressure looked like, what rhythm it stands in.

Limits of size and of change from beat to beat are those of the open signal-quality rules of Sun, Reisner & Mark (Comput
Cardiol 2006, second-hand), in part; the others are common practice.
"""
from __future__ import annotations

from enum import IntFlag
from typing import NamedTuple

from experiments.readings.beats.delineate import Marks

LOWEST_mmHg, HIGHEST_mmHg = 20.0, 300.0
LEAST_PULSE_mmHg = 10.0
MOST_CHANGE_mmHg = 20.0  # of systolic or diastolic from one beat to the next
MOST_ROUGHNESS_mmHg = 2.5  # left after smoothing the diastolic part
EARLY, PAUSE = 0.85, 1.1  # of the usual interval
REMEMBERED = 8  # beats whose median interval is usual


class Reason(IntFlag):
    """Each a bit of a beat's reasons; no bit: the beat counts."""

    NONE = 0
    NOISE = 1
    FLUSH = 2
    GAP = 4
    SEARCH = 8
    ALARM = 16
    ECTOPIC = 32

    @property
    def words(self) -> str:
        """The reasons in words, or an empty text."""
        names = {Reason.NOISE: "noise", Reason.FLUSH: "flush", Reason.GAP: "gap", Reason.SEARCH: "search under way",
                 Reason.ALARM: "alarm", Reason.ECTOPIC: "ectopic"}
        return ", ".join(word for reason, word in names.items() if self & reason)


INTERRUPTING = Reason.GAP | Reason.SEARCH | Reason.ALARM | Reason.FLUSH  # no beat is looked for meanwhile


class Before(NamedTuple):
    """What the beats before tell of the next one."""

    systolic_mmHg: float
    diastolic_mmHg: float
    intervals_s: tuple[float, ...]  # the last ones that were regular
    counted: bool  # whether the last one had no reason not to count


def usual_interval_s(intervals_s: tuple[float, ...]) -> float:
    """Median of the remembered intervals; 0 without any."""
    ordered = sorted(intervals_s)
    middle = len(ordered) // 2
    if not ordered:
        return 0.0
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])


def reasons_of(marks: Marks, before: Before | None, early: bool) -> Reason:
    """Why a beat does not count by its own looks and its neighbours.

    `early`: the interval before this beat was short, it is the ectopic one. The beat that it cut short has lost its own
    run-off and does not count either.
    """
    found = Reason.NONE
    pulse = marks.systolic_mmHg - marks.diastolic_mmHg
    if (marks.diastolic_mmHg < LOWEST_mmHg or marks.systolic_mmHg > HIGHEST_mmHg or pulse < LEAST_PULSE_mmHg
            or marks.roughness_mmHg > MOST_ROUGHNESS_mmHg):
        found |= Reason.NOISE
    usual = usual_interval_s(before.intervals_s) if before is not None else 0.0
    short = 0.0 < marks.interval_s < EARLY * usual
    if short or early:
        found |= Reason.ECTOPIC
    elif before is not None and before.counted and max(abs(marks.systolic_mmHg - before.systolic_mmHg),
                                    abs(marks.diastolic_mmHg - before.diastolic_mmHg)) > MOST_CHANGE_mmHg:
        found |= Reason.NOISE
    return found


def followed(marks: Marks, found: Reason, before: Before | None) -> Before:
    """What is remembered after a beat: irregular intervals are not, so that one early beat changes no usual one."""
    intervals = () if before is None else before.intervals_s
    usual = usual_interval_s(intervals)
    if not found & Reason.ECTOPIC or len(intervals) < 3 or marks.interval_s > PAUSE * usual:
        intervals = (*intervals, marks.interval_s)[-REMEMBERED:]
    return Before(marks.systolic_mmHg, marks.diastolic_mmHg, intervals, not found)
