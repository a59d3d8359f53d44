import math

import numpy as np
import pytest

from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.standard import allowed_sd_mmHg, criteria, share_within


def test_the_closed_form_leaves_85_percent_within() -> None:
    for bias in (-4.0, 0.0, 2.5, 5.0):
        assert share_within(bias, allowed_sd_mmHg(bias)) == pytest.approx(0.85, abs=1e-9)
    assert math.isnan(allowed_sd_mmHg(10.0))


def made(bias, sd, people=85):
    random = np.random.default_rng(1)
    subject = np.repeat(np.arange(people), 3)
    noise = random.standard_normal(3 * people)
    noise = (noise - noise.mean()) / noise.std(ddof=1)
    reference = 120 + 15 * random.standard_normal(3 * people)
    return pairs_of(subject, reference + bias + sd * noise, reference)


@pytest.mark.parametrize(("bias", "sd", "first"), [(0, 7.9, True), (4.9, 5, True), (5.1, 5, False), (0, 8.1, False)])
def test_criterion_one(bias, sd, first) -> None:
    assert criteria(made(bias, sd)).first is first


def test_counts_and_criterion_two() -> None:
    good, few = criteria(made(0.0, 5.0)), criteria(made(0.0, 5.0, 20))
    assert good.enough and not few.enough and good.second
    pairs = made(0.0, 1.0)
    off = pairs._replace(tested=pairs.tested + np.where(pairs.subject % 2, 9.0, -9.0))
    assert not criteria(off).second
