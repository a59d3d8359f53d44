"""All that is said about the agreement of two methods."""
from __future__ import annotations

import math
from typing import NamedTuple

from experiments.readings.agreement.limits import Limits, changing, constant, constant_pairs, plain
from experiments.readings.agreement.pairs import Pairs, pairs_of, subject_means
from experiments.readings.agreement.percentage import Percentage, percentage
from experiments.readings.agreement.standard import Criteria, criteria
from experiments.readings.agreement.tables import Measured, matched, replicates
from experiments.readings.agreement.trending import Changes, Trending, changes_of, trending
from plant.errors import InputError

USUAL_ZONE = 0.15  # of the reference's level


class Question(NamedTuple):
    """How the pairs are to be looked at."""

    unit: str = ""
    truth: str = "changing"  # or "constant"
    zone: float = math.nan  # of exclusion, in the unit; nan: USUAL_ZONE of the level
    reference_precision: float = math.nan  # share that is known of the reference; nan: none
    standard: bool = False  # criteria of ISO 81060-2; values are then in mmHg


class Agreed(NamedTuple):
    """What was found."""

    question: Question
    names: tuple[str, str]  # of the tested and of the reference method
    pairs: Pairs
    plain: Limits
    repeated: Limits
    percentage: Percentage
    changes: Changes
    trending: Trending
    criteria: Criteria | None


def agreed(tested: Measured, reference: Measured, question: Question) -> Agreed:
    """Agreement of two files. Raises InputError."""
    if question.truth not in ("changing", "constant"):
        raise InputError(f"--truth {question.truth}: is changing or constant")
    pairs = _pairs(tested, reference, question)
    if question.truth == "constant":
        repeated = constant(*replicates(tested, reference))
    else:
        repeated = changing(pairs)
    return of_pairs(pairs, question, (tested.name, reference.name), repeated)


def _pairs(tested: Measured, reference: Measured, question: Question) -> Pairs:
    try:
        return matched(tested, reference)
    except InputError:
        if question.truth != "constant":
            raise
    x, y = replicates(tested, reference)  # unequal numbers: subjects' means make the pairs of pictures
    means = subject_means(x.subject, x.values), subject_means(y.subject, y.values)
    return pairs_of([str(i) for i in range(len(means[0]))], *means)


def of_pairs(
    pairs: Pairs, question: Question = Question(), names: tuple[str, str] = ("tested", "reference"),  # noqa: B008
    repeated: Limits | None = None,
) -> Agreed:
    """Agreement of pairs that are there already."""
    if repeated is None:
        repeated = changing(pairs) if question.truth == "changing" else constant_pairs(pairs)
    changes = changes_of(pairs)
    relative = math.isnan(question.zone)
    return Agreed(
        question, names, pairs, plain(pairs), repeated, percentage(pairs, repeated, question.reference_precision),
        changes, trending(changes, USUAL_ZONE if relative else question.zone, relative),
        criteria(pairs) if question.standard else None,
    )
