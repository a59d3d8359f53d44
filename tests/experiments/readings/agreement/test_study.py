import math

import numpy as np
import pytest

from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.study import Question, agreed, of_pairs
from experiments.readings.agreement.tables import Measured
from plant.errors import InputError

SUBJECT = [str(i // 5) for i in range(60)]
VALUES = 5.0 + np.random.default_rng(1).standard_normal(60)
A = Measured("a.csv", SUBJECT, None, VALUES + 0.3)
B = Measured("b.csv", SUBJECT, None, VALUES)


def test_all_of_it_is_there() -> None:
    found = agreed(A, B, Question("L/min"))
    assert found.plain.bias == pytest.approx(0.3) and found.repeated.method == "changing"
    assert found.trending.concordance == 1.0 and found.criteria is None
    assert found.percentage.error < 1e-6 < found.percentage.null


def test_constant_truth_takes_unequal_numbers() -> None:
    fewer = Measured("c.csv", SUBJECT[::2], None, VALUES[::2])
    found = agreed(A, fewer, Question(truth="constant"))
    assert found.repeated.method == "constant" and found.repeated.subjects == 12
    with pytest.raises(InputError, match="--truth sometimes"):
        agreed(A, B, Question(truth="sometimes"))


def test_of_pairs() -> None:
    pairs = pairs_of(SUBJECT, A.values, B.values)
    assert of_pairs(pairs).repeated == agreed(A, B, Question()).repeated
    assert of_pairs(pairs, Question(standard=True, zone=0.5)).criteria is not None
    assert math.isnan(of_pairs(pairs).question.zone)
