"""Criteria 1 and 2 of ISO 81060-2 for blood pressures, from counts and in closed form (limits second-hand).

1: over all pairs the mean difference is within ± 5 mmHg and its SD at most 8 mmHg. 2: the SD of the subjects' mean
differences is at most what leaves 85 % of a normal distribution with that mean within ± 10 mmHg. Themes of ISO 81060-3
(continuous measurement: absolute and trending kinds, an output period far above 30 s is out of scope) are named from
memory in the guide; its limits are not here.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from experiments.readings.agreement.pairs import Pairs, subject_means

MOST_BIAS_mmHg, MOST_SD_mmHg = 5.0, 8.0
WITHIN_mmHg, WANTED_SHARE = 10.0, 0.85
WANTED_SUBJECTS, WANTED_PAIRS = 85, 255


class Criteria(NamedTuple):
    """What was found [mmHg], and whether it is within the limits."""

    pairs: int
    subjects: int
    bias_mmHg: float
    sd_mmHg: float
    means_sd_mmHg: float
    allowed_sd_mmHg: float  # by criterion 2; nan where the bias alone leaves less than 85 %
    first: bool
    second: bool

    @property
    def enough(self) -> bool:
        """Whether there are as many subjects and pairs as the standard wants."""
        return self.subjects >= WANTED_SUBJECTS and self.pairs >= WANTED_PAIRS


def share_within(bias_mmHg: float, sd_mmHg: float) -> float:
    """P(|N(bias, sd)| ≤ 10 mmHg)."""
    root = sd_mmHg * math.sqrt(2.0)
    return 0.5 * (math.erf((WITHIN_mmHg - bias_mmHg) / root) + math.erf((WITHIN_mmHg + bias_mmHg) / root))


def allowed_sd_mmHg(bias_mmHg: float) -> float:
    """Largest SD of subjects' means with that bias; nan beyond ± 10 mmHg, where no SD is small enough."""
    low, high = 1e-6, 20.0
    if not abs(bias_mmHg) < WITHIN_mmHg:
        return math.nan
    for _ in range(80):
        middle = 0.5 * (low + high)
        if share_within(bias_mmHg, middle) > WANTED_SHARE:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def criteria(pairs: Pairs) -> Criteria:
    """Both criteria on pairs of pressures [mmHg]."""
    d = pairs.difference
    means = subject_means(pairs.subject, d)
    bias, sd = float(np.mean(d)), float(np.std(d, ddof=1))
    spread = float(np.std(means, ddof=1)) if len(means) > 1 else math.nan
    allowed = allowed_sd_mmHg(bias)
    first = abs(bias) <= MOST_BIAS_mmHg and sd <= MOST_SD_mmHg
    return Criteria(len(d), len(means), bias, sd, spread, allowed, first,
                    abs(bias) <= MOST_BIAS_mmHg and spread <= allowed)
