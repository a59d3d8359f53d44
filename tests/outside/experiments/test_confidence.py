"""Bounds on failure probabilities against SciPy and closed forms."""
import numpy as np
import pytest
from scipy import stats

from experiments.safety.faults.confidence import failure_bound, rate_bound_per_h, runs_needed


@pytest.mark.parametrize(("failures", "runs"), [(0, 1), (0, 30), (1, 30), (7, 200), (199, 200), (3, 100_000)])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_clopper_pearson_by_scipy(failures, runs, confidence):
    """One side of SciPy's exact interval (scipy.stats.binomtest) [computed]."""
    test = stats.binomtest(failures, runs, alternative="less")
    theirs = test.proportion_ci(confidence, method="exact").high
    assert failure_bound(failures, runs, confidence) == pytest.approx(theirs, rel=1e-9)


def test_what_the_bound_means():
    """At the bound, so few failures or fewer come about with a probability of exactly 5 % (binomial sum, SciPy)."""
    for failures, runs in [(0, 59), (2, 80), (10, 1000)]:
        assert stats.binom.cdf(failures, runs, failure_bound(failures, runs)) == pytest.approx(0.05, rel=1e-9)


def test_rule_of_three_and_fifty_nine_runs():
    """Textbook figures [memory, high]: 3/n without a failure; 59 faultless runs show 95 % at 95 % confidence."""
    assert failure_bound(0, 3000) == pytest.approx(3.0 / 3000, rel=0.01)
    assert runs_needed(0.05) == 59 and runs_needed(0.1, 0.9) == 22
    assert rate_bound_per_h(0, 1000.0) == pytest.approx(2.9957e-3, rel=1e-4)


def test_poisson_rate_by_chi_square():
    """Garwood's bound as a chi-square quantile: χ²(0.95; 2 (k + 1)) / 2 (textbook) by SciPy [computed]."""
    for events in (0, 1, 5, 40):
        assert rate_bound_per_h(events, 7.0) == pytest.approx(stats.chi2.ppf(0.95, 2 * (events + 1)) / 14.0, rel=1e-9)


def test_poisson_rate_of_the_printed_tables():
    """One event: at most 4.744 at 95 %, from tables of the Poisson distribution [memory, high]."""
    assert rate_bound_per_h(1, 1.0) == pytest.approx(4.744, abs=1e-3)


def test_the_share_that_it_covers():
    """Monte Carlo: the bound lies above the truth in at least 95 % of repetitions; it never covers less."""
    truth, runs = 0.03, 120
    failures = np.random.default_rng(5).binomial(runs, truth, 4000)
    covered = np.mean([failure_bound(int(k), runs) >= truth for k in failures])
    assert covered >= 0.945
