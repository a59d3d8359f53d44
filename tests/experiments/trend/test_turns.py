import numpy as np
import pytest

from experiments.trend.turns import WAYS, Turns, day_of
from plant.errors import InputError

STILL = Turns(physiology_mmHg=0.0, minute_mmHg=0.0)


def test_the_step_is_that_of_two_fingers_two_searches_and_a_turn_of_drift():
    told = STILL
    day = day_of(told, pairs=800)
    own = told.p0_sd_mmHg**2 + (1.0 - told.shared) * told.gradient_sd_mmHg**2
    wanted = np.sqrt(2.0 * own + 2.0 * told.search_sd_mmHg**2 + told.drift_mmHg**2)
    assert day.step_sd_mmHg("as read") == pytest.approx(wanted, rel=0.06)


def test_joining_hides_the_step_and_walks_away():
    day = day_of(STILL, pairs=400)
    assert day.step_sd_mmHg("joined") < 0.6 < day.step_sd_mmHg("as read")
    early = float(np.std(day.error_mmHg["joined"][:, 300]))
    assert day.error_sd_mmHg("joined", 23.0) > 1.5 * early


def test_a_learned_step_is_better_than_either_by_the_evening():
    day = day_of(Turns(), pairs=400)
    errors = {way: day.error_sd_mmHg(way, 23.0) for way in WAYS}
    assert errors["step learned"] < 0.6 * min(errors["as read"], errors["joined"])


def test_fingers_that_are_alike_make_no_step_but_that_of_the_search():
    alike = STILL._replace(p0_sd_mmHg=0.0, shared=1.0, drift_mmHg=0.0)
    assert day_of(alike, pairs=800).step_sd_mmHg("as read") == pytest.approx(np.sqrt(2.0) * 2.0, rel=0.05)


def test_the_same_seed_the_same_day_and_bounds():
    one, two = day_of(Turns(), 3, 5), day_of(Turns(), 3, 5)
    assert np.array_equal(one.error_mmHg["joined"], two.error_mmHg["joined"])
    assert one.finger[:121].tolist() == [0] * 60 + [1] * 60 + [0] and one.output_percent(0.95) == pytest.approx(1.0)
    with pytest.raises(InputError, match="turn_min"):
        day_of(Turns(turn_min=1.0))
