"""A rig on many fingers in a picture: a panel a limit."""
from experiments.design.population.pictures import population_figure
from tests.experiments.design.population.opened import judged


def test_a_panel_a_limit():
    figure = population_figure(judged())
    shown = [axes for axes in figure.axes if axes.axison]
    assert [axes.get_xlabel() for axes in shown] == ["phase margin [°]", "Ms [1]"]
    assert [len(axes.lines) for axes in shown] == [3, 3]
    assert len(population_figure(judged(False)).axes[0].lines) == 2


def test_limits_that_nothing_is_known_of_are_left_out():
    found = judged()
    assert not [axes for axes in population_figure(found._replace(limits=())).axes if axes.axison]
