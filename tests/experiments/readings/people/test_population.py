import numpy as np
import pytest

from experiments.readings.people.population import FIT_SEEDS, JUDGED_SEEDS, STATES, cases_of, changed
from plant.circulation.person import person_of, usual_physiology


def test_states_change_what_they_say() -> None:
    person = person_of(45.0, "m")
    rest = usual_physiology(person)
    for name, volume, resistance, rate in STATES:
        state = changed(person, rest, volume, resistance, rate)
        assert state.stroke_mL == rest.stroke_mL * volume, name
        assert state.resistance_mmHg_s_mL == pytest.approx(rest.resistance_mmHg_s_mL * resistance, rel=0.02), name
        assert state.rate_per_min == pytest.approx(rest.rate_per_min * rate), name
        assert (state.velocity_m_s > rest.velocity_m_s) == (state.mean_mmHg > rest.mean_mmHg), name


def test_cases_belong_together() -> None:
    rest, faster = cases_of(5, (0, 5))
    assert rest.person == faster.person and faster.state.rate_per_min > rest.state.rate_per_min
    for case in (rest, faster):
        # the tone of the hand is not in the sum that mean pressure is held with
        assert np.mean(case.steady.aortic_mmHg) == pytest.approx(case.state.mean_mmHg, abs=1.0)


def test_nobody_is_judged_who_was_fitted_on() -> None:
    assert not set(FIT_SEEDS) & set(JUDGED_SEEDS) and len(JUDGED_SEEDS) == 300
