"""Percentage error: 1.96 SD of the differences over the mean of the reference, and the reference's own precision.

Critchley & Critchley, J Clin Monit 1999;15:85: methods of 20 % precision each differ by √(20² + 20²) = 28.3 %, hence
the customary limit of 30 %. Every figure has the null predictor beside it: a constant, the mean of all references.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from experiments.readings.agreement.limits import Limits
from experiments.readings.agreement.pairs import Pairs, within_variance

USUAL_FACTOR = 1.96
CUSTOMARY_LIMIT = 0.30


class Percentage(NamedTuple):
    """Shares of the reference's mean."""

    error: float  # 1.96 SD / mean reference
    null: float  # the same of a constant
    reference_precision: float  # 1.96 SD of the reference's replicates / mean; nan where truth changes
    tested_precision: float  # what is left for the tested method, by sum of squares; nan if not known
    mean_reference: float


def percentage(pairs: Pairs, limits: Limits, reference_precision: float = math.nan) -> Percentage:
    """Percentage error of limits of agreement. A precision of the reference that is known is given as a share."""
    mean = float(np.mean(pairs.reference))
    error = USUAL_FACTOR * limits.sd / mean
    own = reference_precision
    if math.isnan(own) and limits.method == "constant":
        own = USUAL_FACTOR * math.sqrt(limits.within_reference) / mean
    left = error**2 - own**2
    tested = math.sqrt(left) if left >= 0.0 else 0.0
    null = USUAL_FACTOR * float(np.std(pairs.reference, ddof=1)) / mean
    return Percentage(error, null, own, math.nan if math.isnan(own) else tested, mean)


def repeatability(pairs: Pairs) -> tuple[float, float]:
    """SD of the tested and of the reference method within subjects, for subjects whose true value stays."""
    return (math.sqrt(within_variance(pairs.subject, pairs.tested)),
            math.sqrt(within_variance(pairs.subject, pairs.reference)))
