"""Figures of a study from rows made by hand."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.calibration.search.piece import FOUND, Row
from experiments.calibration.search.summary import (
    MIDDLE,
    OWN,
    TRUE,
    crossover_spreads,
    narrowing,
    summaries,
    summary_of,
    upper_quantile,
)

NAN = math.nan


def row(finger, strategy="a", outcome=FOUND, defect="", error=1.0, sd=1.0, crossover=35.0, **more):
    bare = Row(finger, defect, strategy, outcome, error, sd, 0.4, 90.0, 1e-4, 1.0, 12.0, 20.0, 140.0, crossover, True,
               35.0, True, 8.0, False, 40.0, True)
    if outcome != FOUND:
        bare = bare._replace(error_mmHg=NAN, sd_mmHg=NAN, crossover_Hz=NAN, stable=False)
    return bare._replace(**more)


def test_by_hand():
    rows = [row(f"f{i}", error=e) for i, e in enumerate((0.5, -1.0, 2.0, -9.0))]
    rows += [row("f4", outcome="timed out"), row("s0", outcome="no pulse", defect="no_pulse")]
    rows += [row("s1", defect="no_pulse")]
    found = summary_of(rows, "a")
    assert (found.fingers, found.found, found.outliers, found.worst) == (5, 4, 1, "f3")
    assert (found.median_mmHg, found.p95_mmHg, found.largest_mmHg) == (1.0, 9.0, 9.0)
    assert found.bias_mmHg == pytest.approx(-7.5 / 4) and found.inside == 0.5
    assert found.failures == {"timed out": ["f4"]} and found.declared_share == pytest.approx(0.2)
    assert found.unmeasurable == {"no_pulse": {FOUND: 1, "no pulse": 1}} and found.caught_share("no_pulse") == 0.5
    assert math.isnan(found.caught_share("loose_cuff"))
    assert (found.first_waveform_median_s, found.search_p95_s) == (12.0, 20.0)


def test_slopes_too_large_and_too_small_count_alike():
    """By their logarithms; a clamp that diverged has shown none."""
    rows = [row(f"f{i}", clamp_slope_ratio=r) for i, r in enumerate((1.25, 0.8, 1.0, 2.0, NAN))]
    found = summary_of([*rows, row("f5", outcome="no pulse", clamp_slope_ratio=9.0)], "a")
    assert found.slope_median == pytest.approx(math.log(1.25)) and found.slope_p95 == found.slope_p99 == math.log(2.0)
    assert math.isnan(summary_of([row("f0")], "a").slope_p95)


def test_a_clamp_that_diverged_is_an_undeclared_outlier():
    found = summary_of([row("f0", error=0.1), row("f1", error=math.inf)], "a")
    assert found.outliers == 1 and found.largest_mmHg == math.inf and found.worst == "f1" and found.inside == 0.5


def test_nothing_found_is_no_number():
    found = summary_of([row("f0", outcome="no pulse")], "a")
    assert found.found == 0 and found.worst == "" and found.outliers == 0 and found.declared_share == 1.0
    assert all(math.isnan(v) for v in (found.median_mmHg, found.largest_mmHg, found.bias_mmHg, found.inside))
    assert summaries([]) == []


@given(st.lists(st.floats(0, 100), min_size=1, max_size=50), st.floats(0.01, 1.0))
def test_an_upper_quantile_is_reached_by_its_share(values, share):
    """The smallest of the values that at least this share of them do not exceed."""
    found = upper_quantile(np.array(values), share)
    assert found in values and np.mean(np.array(values) <= found) >= share - 1e-12
    smaller = [v for v in values if v < found]
    assert not smaller or np.mean(np.array(values) <= max(smaller)) < share + 1e-12
    assert math.isnan(upper_quantile(np.zeros(0), share))


def test_crossovers_by_slope():
    rows = []
    for i, k in enumerate((-1.0, 0.0, 1.0)):
        for s, narrow in (("a", 0.1), ("b", 0.5)):
            rows.append(row(f"f{i}", s, crossover=35.0 * math.exp(narrow * k), middle_crossover_Hz=35.0 * math.exp(k),
                            own_crossover_Hz=8.0 * math.exp(0.3 * k)))
    rows += [row("f3", "a", outcome="timed out"), row("f3", "b"), row("s0", "a", defect="no_pulse"),
             row("s0", "b", defect="no_pulse")]
    spreads = crossover_spreads(rows)
    assert list(spreads) == [OWN, MIDDLE, "a", "b", TRUE]
    assert spreads["a"].loops == 3 and spreads["b"].loops == 4 and spreads[MIDDLE].loops == 4
    assert spreads[OWN].unstable == 4 and spreads[MIDDLE].unstable == 0
    by_sd, by_ratio = narrowing(spreads, "a")
    wide = np.std([-1.0, 0.0, 1.0, math.log(40 / 35)], ddof=1)
    assert by_sd == pytest.approx(wide / 0.1) and by_ratio > 3.0
    assert narrowing(spreads, "a", OWN)[0] < by_sd
    assert all(math.isnan(v) for v in narrowing(crossover_spreads([row("f0")]), "a"))
