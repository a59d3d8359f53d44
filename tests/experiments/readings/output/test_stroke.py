import numpy as np
import pytest

from experiments.readings.fitted.fit import beats_at
from experiments.readings.fitted.store import shipped
from experiments.readings.output.estimators import ESTIMATORS, SHAPE
from experiments.readings.output.stroke import (
    constant,
    decade,
    exponent,
    factor_of,
    log_sd,
    quadratic,
    raw,
    stroke_mL,
    with_age,
)
from experiments.readings.people.wearer import Wearer
from tests.experiments.readings.steady_cases import some_cases

CASES = list(some_cases())[:9]  # one person
BEATS = beats_at([one.finger_mmHg for one in CASES], CASES)
LAWS = shipped().laws


def test_decades() -> None:
    assert [decade(a) for a in (10.0, 20.0, 29.9, 30.0, 79.0, 95.0)] == [0, 0, 0, 1, 5, 5]


@pytest.mark.parametrize("name", [*ESTIMATORS, SHAPE])
def test_a_reference_makes_that_moment_right(name: str) -> None:
    law, rest = LAWS[name], BEATS.where(np.arange(9) == 0)
    factor = factor_of(name, law, rest, CASES[0].wearer, CASES[0].stroke_mL)
    assert stroke_mL(name, law, rest, CASES[0].wearer, factor)[0] == pytest.approx(CASES[0].stroke_mL)
    assert np.isnan(factor_of(name, law, rest.where(np.zeros(1, bool)), CASES[0].wearer, 60.0))


@pytest.mark.parametrize(("name", "worst"), [("Liljestrand–Zander", 0.3), (SHAPE, 0.2)])
def test_change_is_followed_after_a_reference(name: str, worst: float) -> None:
    law, wearer = LAWS[name], CASES[0].wearer
    factor = factor_of(name, law, BEATS.where(np.arange(9) == 0), wearer, CASES[0].stroke_mL)
    found = stroke_mL(name, law, BEATS, wearer, factor)
    assert np.max(np.abs(np.log(found / [one.stroke_mL for one in CASES]))) < worst


def test_change_is_followed_with_an_exponent() -> None:
    """Twice the estimator is 2^e times the stroke; of the pulse alone, which follows the pressure too, less."""
    law, wearer = LAWS["Windkessel"], Wearer(age_years=30.0)
    plain, changing = (raw("Windkessel", law, BEATS, wearer, change) for change in (False, True))
    assert changing == pytest.approx(plain ** exponent(law, wearer))
    assert exponent(law, wearer) < 1.0 < exponent(LAWS["Liljestrand–Zander"], wearer)


def test_size_and_age_go_into_the_constant() -> None:
    law = LAWS["Liljestrand–Zander"]
    large, small = Wearer(weight_kg=95.0, height_cm=190.0), Wearer(weight_kg=50.0, height_cm=155.0)
    assert constant(law, large) > constant(law, small)
    assert log_sd(law, Wearer(), True) < log_sd(law, Wearer(), False)
    old = with_age(np.ones((2, 3)), Wearer(age_years=70.0))
    assert old.shape == (2, 6) and np.all(old == 1.0)
    far = quadratic(np.array([[1.0, 100.0]]), np.array([[0.0, 0.0], [2.0, 2.0]]), np.array([2.0]))
    assert far == pytest.approx(np.array([[0.5, 2.5, 1.0, 5.0, 0.25, 1.25, 6.25]]))  # bounded: nobody was fitted there
    assert raw(SHAPE, LAWS[SHAPE], BEATS, Wearer()).shape == (9,)
