"""Bound on the rate of false alarms, against published and textbook figures."""
import pytest
from scipy import stats

from experiments.fault_tables import rate_bound


def test_rule_of_three():
    """Nothing seen in n hours: fewer than about 3/n, exactly −ln 0.05/n (Hanley & Lippman-Hand 1983) [memory, high]."""
    assert rate_bound(0, 1000.0) == pytest.approx(2.9957e-3, rel=1e-4)


@pytest.mark.parametrize("count", [0, 1, 3, 10])
def test_garwood(count):
    """χ²(0.95; 2(k+1))/2: Garwood 1936, by SciPy's χ² [computed]. One-sided for 1: 4.744 [memory, high]."""
    assert rate_bound(count, 1.0) == pytest.approx(stats.chi2.ppf(0.95, 2 * (count + 1)) / 2.0)
    assert rate_bound(1, 1.0) == pytest.approx(4.744, abs=1e-3)
