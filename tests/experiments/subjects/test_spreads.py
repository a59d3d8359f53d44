"""The declared distributions: each one of a finger's parameters, in its unit and bounds, with a source."""
import math

import numpy as np
import pytest

from experiments.subjects.finger import PARTS
from experiments.subjects.population import correlation_matrix
from experiments.subjects.spreads import CORRELATIONS, GROUPS, IRREGULAR, PULSE, RHYTHM, PULSE_mmHg, spreads_of
from plant.declare import declared

PARAMETERS = {f"{table}.{p.name}": p for table, part in PARTS.items() for p in declared(part)}
# what no finger of a population differs in, or what follows from other quantities
FIXED = {
    "artery.exponential_linear", "wearer.height_m", "pressure.diastolic_mmHg", "pressure.ectopic_share",
    "pressure.irregular", "tone.wave_Hz", "tone.change", "tone.onset_s", "tone.rise_s", "tone.end_s", "tone.fall_s",
}


@pytest.mark.parametrize("group", GROUPS)
def test_spreads_are_declared_parameters_within_their_bounds(group):
    for spread in (*spreads_of(group), IRREGULAR):
        key = "pressure.ectopic_share" if spread.key == RHYTHM else spread.key
        assert spread.source and spread.low < spread.high
        assert spread.shape in ("uniform", "loguniform") or (spread.low < spread.middle < spread.high and spread.sd > 0)
        assert spread.low > 0.0 or not spread.shape.startswith("log")
        if key != PULSE:
            parameter = PARAMETERS[key]
            assert spread.unit == parameter.unit
            assert parameter.low <= spread.low and spread.high <= parameter.high, key


def test_every_parameter_is_spread_or_fixed_on_purpose():
    keys = [s.key for s in spreads_of("mixed")]
    assert len(keys) == len(set(keys))
    assert set(keys) - {PULSE, RHYTHM} == set(PARAMETERS) - FIXED


def test_groups_change_what_there_is():
    keys = {s.key for s in spreads_of("mixed")}
    assert set(GROUPS) == {"mixed", "young", "old", "cold", "warm", "low_perfusion"}
    assert not GROUPS["mixed"] and all(set(changes) <= keys for changes in GROUPS.values())
    old = {s.key: s for s in spreads_of("old")}
    assert (old["wearer.age_years"].low, old["wearer.age_years"].source) == (65, "invented")
    assert old["tone.level"] == {s.key: s for s in spreads_of("mixed")}["tone.level"]


def test_the_judged_population_covers_what_was_asked_for():
    """Systolic 60–200 mmHg, rates 40–150 /min, pulses of 20–90 mmHg, tone −0.5…1.5 and so on: by intention."""
    mixed = {s.key: (s.low, s.high) for s in spreads_of("mixed")}
    assert mixed["pressure.systolic_mmHg"] == (60, 200) and mixed["pressure.rate_per_min"] == (40, 150)
    assert PULSE_mmHg == (20, 90) and mixed["tone.level"] == (-0.5, 1.5)
    assert mixed["pressure.respiration_mmHg"] == (0, 6) and mixed["light.noise"] == (1e-5, 1e-4)
    assert mixed["fit.transmission"] == (0.93, 1.0) and mixed["artery.creep_time_s"] == (2, 10)


@pytest.mark.parametrize("group", GROUPS)
def test_correlations_are_possible_together(group):
    """A correlation matrix is symmetric with ones on its diagonal and has no negative eigenvalue: its definition."""
    keys = [s.key for s in spreads_of(group)]
    matrix = correlation_matrix(keys)
    assert np.array_equal(matrix, matrix.T) and np.all(np.diag(matrix) == 1.0)
    assert np.min(np.linalg.eigvalsh(matrix)) > 0.05
    assert np.count_nonzero(matrix) == len(keys) + 2 * len(CORRELATIONS)
    assert all(0.0 < abs(value) < 1.0 and one != other and not math.isnan(value)
               for (one, other), value in CORRELATIONS.items())
