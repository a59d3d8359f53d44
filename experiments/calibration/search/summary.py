"""What a study of searches comes to: errors, intervals, failures, times and crossovers by strategy."""
from __future__ import annotations

import math
from collections import Counter
from typing import NamedTuple

import numpy as np

from experiments.calibration.search.crossovers import Crossover, Spread, spread_of
from experiments.calibration.search.piece import FOUND, Row
from experiments.simulation.session import Samples
from experiments.subjects.finger import DEFECTS

OUTLIER_mmHg = 8.0  # a set point further off should have been declared a failure
TWO_SIDED_90 = 1.645  # standard deviations of a normal distribution
TRUE, OWN, MIDDLE = "true slope", "one slope, the rig's own finger's", "one slope, the middle finger's"


class Summary(NamedTuple):
    """One strategy over all fingers. Errors are absolute, in mmHg of transmural pressure, over set points found."""

    strategy: str
    fingers: int  # that can be measured
    found: int
    median_mmHg: float
    p95_mmHg: float
    p99_mmHg: float
    largest_mmHg: float
    bias_mmHg: float  # mean with its sign
    outliers: int  # further off than OUTLIER_mmHg
    inside: float  # share within the stated 90 % interval
    first_waveform_median_s: float
    first_waveform_p95_s: float
    search_median_s: float
    search_p95_s: float
    slope_median: float  # |log| of the light slope found over the mean one in the clamp that follows
    slope_p95: float
    slope_p99: float
    failures: dict[str, list[str]]  # reason: fingers, of those that can be measured
    worst: str  # finger; empty when nothing was found
    unmeasurable: dict[str, dict[str, int]]  # defect: outcome: fingers

    @property
    def declared_share(self) -> float:
        """Share of declared failures among fingers that can be measured."""
        return (self.fingers - self.found) / self.fingers if self.fingers else math.nan

    def caught_share(self, defect: str) -> float:
        """Share of declared failures among fingers spoiled in one way."""
        counts = self.unmeasurable.get(defect, {})
        total = sum(counts.values())
        return 1.0 - counts.get(FOUND, 0) / total if total else math.nan


def upper_quantile(values: Samples, share: float) -> float:
    """The smallest value that at least this share of the values do not exceed; nan without values."""
    return float(np.quantile(values, share, method="inverted_cdf")) if len(values) else math.nan


def summary_of(rows: list[Row], strategy: str) -> Summary:
    """The summary of one strategy."""
    own = [r for r in rows if r.strategy == strategy]
    measurable = [r for r in own if not r.defect]
    found = [r for r in measurable if r.outcome == FOUND]
    signed = np.array([r.error_mmHg for r in found], float)
    off = np.abs(signed)
    inside = [abs(r.error_mmHg) <= TWO_SIDED_90 * r.sd_mmHg for r in found]
    first, whole = (np.array([getattr(r, name) for r in found], float) for name in ("first_waveform_s", "search_s"))
    slope = np.abs(np.log([r.clamp_slope_ratio for r in found if math.isfinite(r.clamp_slope_ratio)]))
    failures: dict[str, list[str]] = {}
    for row in measurable:
        if row.outcome != FOUND:
            failures.setdefault(row.outcome, []).append(row.finger)
    unmeasurable = {
        defect: dict(sorted(Counter(r.outcome for r in own if r.defect == defect).items()))
        for defect in DEFECTS if any(r.defect == defect for r in own)
    }
    return Summary(
        strategy, len(measurable), len(found), upper_quantile(off, 0.5), upper_quantile(off, 0.95),
        upper_quantile(off, 0.99), float(np.max(off, initial=0.0)) if found else math.nan,
        float(np.mean(signed)) if found else math.nan,
        int(np.sum(off > OUTLIER_mmHg)), float(np.mean(inside)) if found else math.nan, upper_quantile(first, 0.5),
        upper_quantile(first, 0.95), upper_quantile(whole, 0.5), upper_quantile(whole, 0.95),
        upper_quantile(slope, 0.5), upper_quantile(slope, 0.95), upper_quantile(slope, 0.99), failures,
        found[int(np.argmax(off))].finger if found else "", unmeasurable,
    )


def summaries(rows: list[Row]) -> list[Summary]:
    """All strategies, in the order of the study."""
    return [summary_of(rows, strategy) for strategy in dict.fromkeys(r.strategy for r in rows)]


def crossover_spreads(rows: list[Row]) -> dict[str, Spread]:
    """Spread of crossovers over fingers that can be measured, by where the slope comes from.

    Keys are the fixed slopes, then each strategy. Every finger counts for the fixed slopes; for a strategy, those on
    which it found a set point.
    """
    strategies = list(dict.fromkeys(r.strategy for r in rows))
    measurable = [r for r in rows if not r.defect]
    each = [r for r in measurable if r.strategy == strategies[0]] if strategies else []
    spreads = {
        OWN: spread_of([Crossover(r.own_crossover_Hz, r.own_stable) for r in each]),
        MIDDLE: spread_of([Crossover(r.middle_crossover_Hz, r.middle_stable) for r in each]),
    }
    for strategy in strategies:
        found = [r for r in measurable if r.strategy == strategy and r.outcome == FOUND]
        spreads[strategy] = spread_of([Crossover(r.crossover_Hz, r.stable) for r in found])
    spreads[TRUE] = spread_of([Crossover(r.true_crossover_Hz, r.true_stable) for r in each])
    return spreads


def narrowing(spreads: dict[str, Spread], strategy: str, fixed: str = MIDDLE) -> tuple[float, float]:
    """How many times narrower a strategy's slopes make the spread: by SD of the logarithm, and by log of the ratio."""
    wide, narrow = spreads[fixed], spreads[strategy]
    if not (narrow.loops > 1 and wide.loops > 1):
        return math.nan, math.nan
    return wide.sd_log / narrow.sd_log, math.log(wide.ratio) / math.log(narrow.ratio)
