"""Limits of agreement: plain, and with several pairs a subject while the true value changes or stays.

Bland & Altman, Lancet 1986;1:307 (plain); J Biopharm Stat 2007;17:571 (repeated). With changing truth the differences
of each subject are a one-way layout: SD² = MSW + max(0, (MSB − MSW)/λ) with λ = (N² − Σm²)/((n − 1)N). With constant
truth SD² = var(d̄) + (1 − mean 1/m_X) s²_X + (1 − mean 1/m_Y) s²_Y, with s² within subjects and d̄ the subjects' means.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.agreement.pairs import Pairs, Samples, subject_means, within_variance

NORMAL_95 = 1.959963984540054  # two-sided 95 % of a normal distribution


class Limits(NamedTuple):
    """Bias and limits of agreement, in the unit of the values."""

    method: str  # "plain", "changing" or "constant"
    pairs: int
    subjects: int
    bias: float
    sd: float
    between: float  # mean square between subjects (changing), variance of their means (constant); else nan
    within: float  # mean square within subjects; of the tested method where truth is constant
    within_reference: float  # of the reference, where truth is constant
    spread: float  # λ (changing), or 1 − mean 1/m of the tested method (constant)

    @property
    def lower(self) -> float:
        """Lower limit of agreement, 95 %."""
        return self.bias - NORMAL_95 * self.sd

    @property
    def upper(self) -> float:
        """Upper limit of agreement, 95 %."""
        return self.bias + NORMAL_95 * self.sd


def plain(pairs: Pairs) -> Limits:
    """As if every pair came from a subject of its own."""
    d, nan = pairs.difference, math.nan
    return Limits("plain", len(d), len(pairs.sizes), float(np.mean(d)), float(np.std(d, ddof=1)), nan, nan, nan, nan)


def changing(pairs: Pairs) -> Limits:
    """Several pairs a subject, whose true value changes from pair to pair. With one pair each it is the plain one."""
    d, sizes = pairs.difference, pairs.sizes
    count, people = len(d), len(sizes)
    within = within_variance(pairs.subject, d)
    if people < 2 or math.isnan(within):
        return plain(pairs)._replace(method="changing")
    means = subject_means(pairs.subject, d)
    between = float(np.sum(sizes * (means - np.mean(d)) ** 2) / (people - 1))
    spread = float((count**2 - np.sum(sizes**2)) / ((people - 1) * count))
    variance = within + max(0.0, (between - within) / spread)
    return Limits("changing", count, people, float(np.mean(d)), math.sqrt(variance), between, within, math.nan, spread)


class Replicates(NamedTuple):
    """Readings of one method, several a subject; not paired with the other method's."""

    subject: NDArray[np.int64]
    values: Samples


def constant(tested: Replicates, reference: Replicates) -> Limits:
    """Several readings by each method of subjects whose true value stays, in numbers that may differ."""
    sides = []
    for side in (tested, reference):
        means = subject_means(side.subject, side.values)
        kept = float(1.0 - np.mean(1.0 / np.bincount(side.subject)))
        within = within_variance(side.subject, side.values)
        sides.append((means, kept, within if math.isfinite(within) else 0.0))
    (x, kept_x, within_x), (y, kept_y, within_y) = sides
    between = float(np.var(x - y, ddof=1))
    variance = between + kept_x * within_x + kept_y * within_y
    return Limits("constant", max(len(tested.values), len(reference.values)), len(x), float(np.mean(x - y)),
                  math.sqrt(variance), between, within_x, within_y, kept_x)


def constant_pairs(pairs: Pairs) -> Limits:
    """The same from pairs."""
    return constant(Replicates(pairs.subject, pairs.tested), Replicates(pairs.subject, pairs.reference))
