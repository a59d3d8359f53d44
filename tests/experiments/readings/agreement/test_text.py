import json

import numpy as np

from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.study import Question, of_pairs
from experiments.readings.agreement.text import agree_json, agree_lines
from experiments.work.output import CAUTION, plain

RANDOM = np.random.default_rng(1)
TRUTH = 5.0 + RANDOM.standard_normal(60)
FOUND = of_pairs(pairs_of(np.arange(60) // 5, TRUTH + 0.2 + 0.3 * RANDOM.standard_normal(60), TRUTH),
                 Question("mmHg", standard=True, reference_precision=0.05), ("a.csv", "b.csv"))


def test_the_constant_stands_beside_the_percentage_error() -> None:
    text = "\n".join(agree_lines(FOUND))
    assert "null predictor (a constant)" in text and "better than the constant" in text
    for word in ("60 pairs of 12 subjects", "four-quadrant", "polar", "criterion 1", "criterion 2", "wants 85", CAUTION,
                 "leaves"):
        assert word in text
    assert max(len(line) for line in agree_lines(FOUND)[:-1]) <= 120


def test_single_pairs_have_no_trend() -> None:
    single = of_pairs(pairs_of(np.arange(60), TRUTH + 0.2, TRUTH))
    assert "trending: no subject has two pairs" in agree_lines(single)


def test_plain_data() -> None:
    told = json.loads(json.dumps(plain(agree_json(FOUND))))
    assert told["limits"]["changing"]["bias"] == FOUND.repeated.bias and told["iso_81060_2"]["pairs"] == 60
