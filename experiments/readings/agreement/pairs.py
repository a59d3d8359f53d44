"""Measurements by two methods on the same subjects, in the order in which they were taken."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError

Samples = NDArray[np.float64]
FEWEST_PAIRS = 3


class Pairs(NamedTuple):
    """One row a pair; a subject's rows stand together, in order of time."""

    subject: NDArray[np.int64]  # (pairs,) numbers from 0 on
    tested: Samples  # (pairs,)
    reference: Samples  # (pairs,)

    @property
    def difference(self) -> Samples:
        """Tested minus reference."""
        return np.asarray(self.tested - self.reference)

    @property
    def sizes(self) -> NDArray[np.int64]:
        """Pairs of each subject."""
        return np.asarray(np.bincount(self.subject), np.int64)


def pairs_of(subject: Samples | list[str] | NDArray[np.int64], tested: Samples, reference: Samples) -> Pairs:
    """Pairs from columns, whatever the subjects are called; their order of appearance is kept. Raises InputError."""
    names = [str(name) for name in subject]
    number = {name: i for i, name in enumerate(dict.fromkeys(names))}
    each = np.array([number[name] for name in names], np.int64)
    order = np.argsort(each, kind="stable")
    pairs = Pairs(each[order], np.asarray(tested, float)[order], np.asarray(reference, float)[order])
    if len(pairs.subject) < FEWEST_PAIRS:
        raise InputError(f"{len(pairs.subject)} pairs; agreement needs at least {FEWEST_PAIRS}")
    for name, values in (("tested", pairs.tested), ("reference", pairs.reference)):
        if not np.all(np.isfinite(values)):
            first = int(np.argmin(np.isfinite(values)))
            raise InputError(f"{name} value {first + 1} = {values[first]:g} is not a finite number")
    return pairs


def within_variance(subject: NDArray[np.int64], values: Samples) -> float:
    """Pooled variance of values within subjects (mean square within, one-way); nan where nobody has two."""
    sizes = np.bincount(subject)
    means = np.bincount(subject, values) / sizes
    free = len(values) - len(sizes)
    return float(np.sum((values - means[subject]) ** 2) / free) if free > 0 else float("nan")


def subject_means(subject: NDArray[np.int64], values: Samples) -> Samples:
    """Mean of each subject."""
    return np.asarray(np.bincount(subject, values) / np.bincount(subject))
