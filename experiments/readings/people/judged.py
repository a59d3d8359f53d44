"""How far readings are off on virtual people who were not fitted on: the figures that intervals and claims stand on."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


class Errors(NamedTuple):
    """Mean and SD of a reading's errors."""

    mean: float
    sd: float


def errors(values: Samples) -> Errors:
    """Of finite values."""
    kept = values[np.isfinite(values)]
    return Errors(float(np.mean(kept)), float(np.std(kept, ddof=1)))


def percentage_error(estimated: Samples, truth: Samples) -> float:
    """1.96 SD of the differences over the mean truth, in percent, of finite pairs."""
    kept = np.isfinite(estimated) & np.isfinite(truth)
    return float(196.0 * np.std(estimated[kept] - truth[kept], ddof=1) / np.mean(truth[kept]))


def coverage(values: Samples, sd: Samples, ages: Samples, edges: tuple[float, ...], factor: float) -> Samples:
    """Share of errors within ± factor · sd in each decade of age; nan for a decade without anybody."""
    inside = np.abs(values) <= factor * sd
    kept = np.isfinite(values)
    number = np.clip(np.digitize(ages, edges) - 1, 0, len(edges) - 2)
    return np.array([float(np.mean(inside[kept & (number == d)])) if np.any(kept & (number == d)) else np.nan
                     for d in range(len(edges) - 1)])
