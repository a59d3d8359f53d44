"""Sobol indices of a rig: which ranges are taken, the same numbers on any engine, and what an unstable point counts."""
import sys

import numpy as np
import pytest

pytest.importorskip("SALib")

from experiments.design.budget import sobol
from experiments.design.budget.sensitivity import budget
from experiments.design.budget.sobol import (
    SpreadOut,
    available,
    cost_at,
    sample,
    sobol_indices,
    sobol_study,
    spreads_of,
)
from experiments.rigs.rig import read_rig
from experiments.subjects.bands import usual_bands
from experiments.work.run import local
from plant.errors import InputError

BANDS = usual_bands(1e-3)


@pytest.fixture(scope="module")
def wrist_budget():
    return budget(read_rig("wrist"), 90.0, BANDS)


@pytest.fixture(scope="module")
def study(wrist_budget):
    return sobol_study(wrist_budget, BANDS, 0.2, 8, 1, engine=local(1))


def test_ranges_of_what_matters(wrist_budget):
    found = {s.name: s for s in spreads_of(wrist_budget)}
    assert len(found) == sobol.MOST_PARAMETERS and {"cuff.volume_mL", "valve.conductance"} <= set(found)
    assert found["cuff.volume_mL"][2:] == pytest.approx((2.0, 3.0))
    assert found["tissue.transmission"][2:] == pytest.approx((0.95, 1.0))  # narrower, and never above one
    assert not any(name.split(".")[0] in sobol.EXACT for name in found)
    half = {s.name: s for s in spreads_of(wrist_budget, 0.1)}
    assert half["cuff.volume_mL"][2:] == pytest.approx((2.25, 2.75))


def test_what_a_bench_has_left_open_is_the_range(wrist_budget):
    """A rig's own `[spread]` takes the place of the usual one: 1.96 standard uncertainties either way."""
    source = wrist_budget.source
    known = source._replace(tables={**source.tables, "spread": {"cuff.volume_mL": 0.4}})
    found = {s.name: s for s in spreads_of(wrist_budget._replace(source=known))}
    assert found["cuff.volume_mL"][2:] == pytest.approx((2.5 - 0.784, 2.5 + 0.784))
    assert found["valve.conductance"] == {s.name: s for s in spreads_of(wrist_budget)}["valve.conductance"]


def test_the_study(wrist_budget, study):
    assert study.points == 8 * 12 and set(study.indices) == set(sobol.FIGURES) and study.unstable_share == 0.0
    for indices in study.indices.values():
        assert indices.total.shape == (10,) and np.all(indices.total >= 0.0)
    assert len(study.values["phase_margin_deg"]) == 96
    again = sobol_study(wrist_budget, BANDS, 0.2, 8, 1, engine=local(2)._replace(begin_here_s=0.0))
    for name, indices in study.indices.items():
        for one, other in zip(indices, again.indices[name], strict=True):
            np.testing.assert_array_equal(one, other)


def test_unstable_points_count_as_nothing_left(wrist_budget):
    hot = read_rig("wrist", ["controller.kp=0.05"])
    found = wrist_budget._replace(source=hot)
    wild = sobol_study(found, BANDS, 0.3, 8, 1, engine=local(1))
    assert 0.0 < wild.unstable_share < 1.0
    assert len(wild.values["error_mmHg"]) == round((1.0 - wild.unstable_share) * wild.points)
    assert np.all(np.isfinite([i for indices in wild.indices.values() for i in indices]))


def test_values_that_make_no_rig_are_no_error():
    source = read_rig("wrist")
    assert np.all(np.isnan(cost_at(source, ("supply.pressure_mmHg",), 120.0, BANDS, (101.0,))))
    assert not np.any(np.isnan(cost_at(source, ("supply.pressure_mmHg",), 90.0, BANDS, (600.0,))))


def test_what_never_changes_has_no_indices():
    spreads = [SpreadOut("a", "1", 0.0, 1.0), SpreadOut("b", "1", 0.0, 1.0)]
    found = sobol_indices(spreads, np.full(len(sample(spreads, 8, 1)), 3.0), 1)
    assert not np.any(found)


def test_without_the_package(monkeypatch):
    for name in ("SALib.analyze.sobol", "SALib.sample.sobol"):
        monkeypatch.setitem(sys.modules, name, None)
    assert not available()
    with pytest.raises(InputError, match=r"pip install 'cuffloop\[sensitivity\]'"):
        sample([SpreadOut("a", "1", 0.0, 1.0)], 8, 1)


def test_no_spread_at_all(wrist_budget):
    with pytest.raises(InputError, match="no parameter has a spread"):
        sobol_study(wrist_budget._replace(effects=()), BANDS, 0.2, 8, 1)
