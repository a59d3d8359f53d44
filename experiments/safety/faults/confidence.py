"""How sure a count of failures makes us: exact binomial bounds (Clopper & Pearson 1934)."""
from __future__ import annotations

import math

from plant.errors import InputError


def failure_bound(failures: int, runs: int, confidence: float = 0.95) -> float:
    """One-sided upper bound on the probability of failure, from so many failures in so many independent runs.

    The quantile of a beta distribution with failures + 1 and runs − failures (Clopper & Pearson 1934); without a
    failure it is 1 − (1 − confidence)^(1/runs), about 3/runs at 95 %. Raises InputError.
    """
    _check(failures, runs, confidence)
    if failures == runs:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(failures + 1, runs - failures, confidence))


def runs_needed(probability: float, confidence: float = 0.95) -> int:
    """Runs without a failure after which the bound is no higher than `probability`. Raises InputError."""
    if not 0.0 < probability < 1.0:
        raise InputError(f"probability = {probability:g} must be between 0 and 1")
    _check(0, 1, confidence)
    return math.ceil(math.log1p(-confidence) / math.log1p(-probability) - 1e-9)


def rate_bound_per_h(events: int, hours: float, confidence: float = 0.95) -> float:
    """One-sided upper bound on a rate [1/h], from so many events in so many hours of a Poisson process.

    The quantile of a gamma distribution with events + 1 (Garwood 1936); without an event about 3/hours. Raises
    InputError.
    """
    _check(0, 1, confidence)
    if events < 0 or events != int(events):
        raise InputError(f"events = {events} must be a whole number from 0")
    if not 0.0 < hours < math.inf:
        raise InputError(f"hours = {hours:g} must be above 0")
    from scipy.special import gammaincinv

    return float(gammaincinv(events + 1, confidence)) / hours


def _check(failures: int, runs: int, confidence: float) -> None:
    if runs < 1 or runs != int(runs):
        raise InputError(f"runs = {runs} must be a whole number from 1")
    if not 0 <= failures <= runs or failures != int(failures):
        raise InputError(f"failures = {failures} must be a whole number from 0 to {runs}")
    if not 0.0 < confidence < 1.0:
        raise InputError(f"confidence = {confidence:g} must be between 0 and 1")
