"""The short answer to a study of failures: what is not contained, then the worst that is, and on what it rests."""
from __future__ import annotations

import math
from typing import NamedTuple

from experiments.safety.faults.findings import (
    HEAT,
    PRESSURE,
    TIME,
    VENT,
    WRONG,
    Failure,
    Outcome,
    breaking_losses,
    broken_words,
    single_points,
    uncontained,
    worst_contained,
)
from experiments.safety.faults.verdict import FaultLimits

NOT_STUDIED = "Not studied: no protection was taken away."


class Answer(NamedTuple):
    """A question, and one line or more that answer it."""

    question: str
    lines: tuple[str, ...]


def plain_name(name: str) -> str:
    """A name of the catalogue as words."""
    return name.replace("_", " ")


def first_minute(failures: list[Failure]) -> list[Answer]:
    """What nothing contains; the worst that is contained, what catches it and the removal that breaks a limit."""
    loose, worst = uncontained(failures), worst_contained(failures)
    answers = [Answer("Not contained", not_contained_lines(failures, loose))]
    if worst is not None:
        kept = worst.protected
        answers += [
            Answer("Worst contained", (f"{plain_name(worst.name)} ({worst.item}: {worst.mode}): at most "
                                       f"{kept.highest_mmHg:.0f} mmHg on the finger with all protection.",)),
            Answer("What catches it", (caught_words(worst),)),
            Answer("Its removal that breaks a limit", removal_lines(worst)),
        ]
    points = single_points(failures)
    single = len(points) == 1
    words = (f"{len(points)} pair{'' if single else 's'} of one lost protection and one failure "
             f"break{'s' if single else ''} a limit.")
    if not points:
        studied = any(failure.without for failure in failures)
        words = "No single lost protection lets any one failure break a limit." if studied else NOT_STUDIED
    return [*answers, Answer("Single points of failure", (words,))]


def answer_lines(answers: list[Answer]) -> list[str]:
    """The same for a terminal: each question before its answer, further lines indented."""
    return [line for answer in answers
            for line in (f"{answer.question}: {answer.lines[0]}", *(f"    {more}" for more in answer.lines[1:]))]


def headline(rig: str, kept: bool, failures: list[Failure] | None) -> str:
    """The verdict in one line: failures first, for a rig that keeps its requirements may still not contain one."""
    requirements = "requirements kept" if kept else "requirements NOT kept"
    if failures is None:
        return f"Rig {rig}: {requirements}; failures not studied"
    loose = len(uncontained(failures))
    if not loose:
        return f"Rig {rig}: {'PASS' if kept else 'FAIL'}: all {len(failures)} failures contained; {requirements}"
    verb = "is" if loose == 1 else "are"
    return f"Rig {rig}: FAIL: {loose} of {len(failures)} failures {verb} not contained; {requirements}"


def not_contained_lines(failures: list[Failure], loose: list[Failure]) -> tuple[str, ...]:
    """How many break a limit with all protection, and each of them with what was seen."""
    if not loose:
        return (f"None: with all protection no failure of {len(failures)} breaks a limit.",)
    verb = "breaks" if len(loose) == 1 else "break"
    return (f"{len(loose)} of {len(failures)} failures {verb} a limit with all protection in place:", *(
        f"{plain_name(f.name)} ({f.item}: {f.mode}): {broken_words(f.protected.broken)}{_seen(f.protected)}; "
        f"{f.broken_runs} of {f.runs} runs" for f in loose))


def _seen(outcome: Outcome, limits: tuple[str, ...] | None = None) -> str:
    """The figures that belong to the broken limits."""
    limits = outcome.broken if limits is None else limits
    parts = []
    if PRESSURE in limits or TIME in limits:
        parts.append(f"{outcome.highest_mmHg:.0f} mmHg")
    if VENT in limits:
        parts.append(_empty(outcome.vent_s))
    if HEAT in limits:
        parts.append(f"{outcome.skin_degC:.1f} °C")
    if WRONG in limits:
        parts.append(f"up to {outcome.wrong_mmHg:.0f} mmHg for {outcome.wrong_s:.0f} s")
    return f", {', '.join(parts)}" if parts else ""


def _empty(vent_s: float) -> str:
    """When a cuff that was not emptied in time was empty: where it was let go at all, others never were."""
    if not math.isfinite(vent_s):
        return "never empty"
    return f"empty after {vent_s:.1f} s" if vent_s > FaultLimits().vent_s else "in some runs never empty"


def caught_words(failure: Failure) -> str:
    """What acts first, after how long, and how fast the cuff is empty then."""
    if failure.missed_runs == failure.runs:
        return "Nothing notices it."
    vent = failure.protected.vent_s
    vented = f"; the cuff is empty {_time(vent)} after it is vented" if math.isfinite(vent) else ""
    missed = f"; {failure.missed_runs} of {failure.runs} runs go unnoticed" if failure.missed_runs else ""
    first = failure.detection[:1].upper() + failure.detection[1:]
    return f"{first} catches it first, after {_time(failure.detect_median_s)} (median){vented}{missed}."


def _time(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 0.1 else f"{max(1000.0 * seconds, 1.0):.0f} ms"


def removal_lines(failure: Failure) -> tuple[str, ...]:
    """Each single protection whose loss lets it break a limit, the gravest first."""
    if not failure.without:
        return (NOT_STUDIED,)
    found = breaking_losses(failure)
    if not found:
        return ("None: without any single one of its protections every limit is kept.",)
    return tuple(f"Without {plain_name(name)}: {broken_words(failure.without[name].broken)}"
                 f"{_seen(failure.without[name])}." for name in found)
