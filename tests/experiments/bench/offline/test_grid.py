"""Stored margins are those that a check of the rig would find at the true light slope."""
import numpy as np
import pytest

from experiments.bench.offline.grid import FIGURES, margin_grid, offset, stored, worst_margins
from experiments.bench.offline.scene import turned_rig
from experiments.check.judged import judge_loops, margin_figures
from tests.experiments.bench.offline.helper import scene


@pytest.mark.parametrize("places", [(10, 4, 4), (14, 7, 6), (0, 0, 0), (20, 10, 8)])
def test_they_are_those_of_the_rig_turned_that_way(places):
    found = scene()
    turn = found.at(*places)
    there = worst_margins(found, found.axes[0].values, turn.dead_time_s, turn.volume_error)
    rig = turned_rig(found.rig, turn)
    figures = margin_figures(judge_loops(rig, found.pressures_mmHg, offset(rig, turn.volume_error)))
    for name in FIGURES:
        assert there[name][places[0]] == pytest.approx(figures[name], rel=1e-9, nan_ok=True)


def test_more_gain_and_more_dead_time_end_in_no_margin_at_all():
    grid = margin_grid(scene()._replace(axes=tuple(
        axis._replace(values=axis.values[:: len(axis.values) - 1]) for axis in scene().axes)))
    assert grid["modulus_margin"].shape == (2, 2, 2)
    assert np.all(np.isnan(grid["modulus_margin"][1, 1])) and np.all(np.isfinite(grid["modulus_margin"][0, 0]))


def test_where_the_rig_cannot_clamp_there_is_none():
    there = worst_margins(scene(), (0.01,), 1e-3, -0.99)
    assert all(np.isnan(values).all() for values in there.values())


def test_they_are_stored_to_the_digit_that_is_printed():
    kept = stored(np.array([[52.34, np.nan], [np.inf, -3.26]]), FIGURES["phase_margin_deg"])
    assert kept.dtype == np.float32 and kept[0] == 523 and np.isnan(kept[1]) and np.isinf(kept[2]) and kept[3] == -33
