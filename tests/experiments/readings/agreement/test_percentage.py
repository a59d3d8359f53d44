import math

import numpy as np
import pytest

from experiments.readings.agreement.limits import constant_pairs, plain
from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.percentage import percentage, repeatability

RANDOM = np.random.default_rng(1)
REFERENCE = 5.0 + RANDOM.standard_normal(5000)


def test_two_methods_of_twenty_percent_differ_by_28() -> None:
    truth, own = np.full(5000, 5.0), 0.2 * 5.0 / 1.96
    pairs = pairs_of(np.arange(5000), truth + own * RANDOM.standard_normal(5000),
                     truth + own * RANDOM.standard_normal(5000))
    found = percentage(pairs, plain(pairs), 0.2)
    assert found.error == pytest.approx(0.283, abs=0.01) and found.tested_precision == pytest.approx(0.2, abs=0.015)


def test_the_mean_of_the_references_is_the_null_predictor() -> None:
    constant = pairs_of(np.arange(5000), np.full(5000, np.mean(REFERENCE)), REFERENCE)
    found = percentage(constant, plain(constant))
    assert found.error == pytest.approx(found.null) and math.isnan(found.reference_precision)


def test_replicates_tell_the_references_precision() -> None:
    subject = np.repeat(np.arange(500), 4)
    truth = 5.0 + np.random.default_rng(2).standard_normal(500)[subject]
    noise = np.random.default_rng(3).standard_normal((2, 2000))
    pairs = pairs_of(subject, truth + 0.5 * noise[0], truth + 0.3 * noise[1])
    found = percentage(pairs, constant_pairs(pairs))
    assert found.reference_precision == pytest.approx(1.96 * 0.3 / 5.0, rel=0.1)
    assert repeatability(pairs) == pytest.approx((0.5, 0.3), rel=0.1)
    assert percentage(pairs, plain(pairs), 5.0).tested_precision == 0.0
