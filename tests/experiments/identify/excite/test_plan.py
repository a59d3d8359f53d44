"""A plan keeps to its time, and its uncertainties are those of the information that it counts."""
import numpy as np
import pytest

from experiments.identify.excite.pictures import plan_figure
from experiments.identify.excite.plan import IGNORANCE, information_of, plan_for, play_all
from experiments.identify.excite.text import plan_json, plan_lines
from experiments.rigs.rig import load_rig
from plant.errors import InputError


@pytest.fixture(scope="module")
def plan():
    return plan_for(load_rig("cabinet"), ["valve", "tube"], 250.0, 2000.0, 5.0)


def test_within_its_time_and_worth_it(plan):
    assert sum(len(p.command) * p.period_s for p in plan.pieces) <= 5.0
    assert np.all(plan.together <= np.min(plan.alone, axis=0) * (1.0 + 1e-9)) and np.all(plan.together < IGNORANCE)
    information = sum(information_of(plan.rig, plan.free, piece) for piece in plan.pieces)
    sd = np.sqrt(np.diag(np.linalg.inv(information + np.eye(len(plan.free)) / IGNORANCE**2)))
    assert np.allclose(sd, plan.together)


def test_in_words_and_as_data(plan):
    lines = plan_lines(plan)
    assert len(plan_json(plan)["pieces"]) == len(plan.pieces)
    assert any("valve.damping_ratio" in line for line in lines)
    assert any(line.strip().startswith(plan.pieces[0].played) for line in lines)


def test_a_virtual_bench_plays_them(plan):
    found = play_all(load_rig("cabinet"), plan.pieces, 1)
    assert [len(one["reading_mmHg"]) for one in found] == [len(piece.command) for piece in plan.pieces]


def test_a_picture_has_a_row_a_piece(plan):
    figure = plan_figure(plan)
    assert len(figure.axes) == 2 * len(plan.pieces)
    assert all(axes.get_ylabel() for axes in figure.axes)


def test_too_little_time():
    with pytest.raises(InputError, match="the shortest piece takes"):
        plan_for(load_rig("cabinet"), ["valve"], 250.0, 2000.0, 0.5)
