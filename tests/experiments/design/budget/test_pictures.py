"""Pictures of a budget: bars are the effects, long ones are cut and say so, indices are in their places."""
import numpy as np
import pytest

from experiments.design.budget.cost import LoopCost
from experiments.design.budget.pictures import MOST_BARS, sobol_figure, steps_figure
from experiments.design.budget.sensitivity import budget
from experiments.design.budget.sobol import Indices, SpreadOut, Study
from experiments.design.budget.text import telling
from experiments.rigs.rig import read_rig
from experiments.subjects.bands import usual_bands
from experiments.work.style import BLUE, ORANGE, save


@pytest.fixture(scope="module")
def found():
    return budget(read_rig("wrist"), 90.0, usual_bands(1e-3))


def test_bars_are_the_effects(found, tmp_path):
    figure = steps_figure(found)
    phase, _, peak, _ = figure.axes
    effects = telling(found)[:MOST_BARS][::-1]
    assert [t.get_text() for t in phase.get_yticklabels()] == [e.words for e in effects]
    for axes, k, good in ((phase, 0, 1.0), (peak, 2, -1.0)):
        cut = 0
        for bar, effect, text in zip(axes.patches, effects, axes.texts, strict=False):
            change = effect.effect[k]
            cut += "»" in text.get_text()
            assert "»" in text.get_text() or bar.get_width() == pytest.approx(change)
            assert np.array_equal(bar.get_facecolor()[:3], [int(c, 16) / 255 for c in _pairs(
                BLUE if change * good >= 0 else ORANGE)])
        assert cut <= 1
    assert phase.get_xlabel().startswith("change of phase margin (°)\nnow 5")
    save(figure, tmp_path / "a.png")


@pytest.mark.parametrize(("longest", "cut"), [(2.6, 0), (5.0, 1)])
def test_a_bar_is_cut_only_where_that_shows(found, longest, cut):
    """Beside a bar of 1: one of 2.6 is drawn whole, one of 5 is cut at 2.5 and marked."""
    changes = [found.effects[0].effect._replace(phase_margin_deg=-size) for size in (longest, 1.0)]
    steps = tuple(e._replace(effect=c) for e, c in zip(found.effects, changes, strict=False))
    phase = steps_figure(found._replace(effects=steps)).axes[0]
    assert sum("»" in text.get_text() for text in phase.texts) == cut
    assert max(abs(bar.get_width()) for bar in phase.patches) == pytest.approx(2.5 if cut else longest)


def _pairs(colour):
    return colour[1:3], colour[3:5], colour[5:7]


@pytest.mark.filterwarnings("error")
def test_odd_budgets(found, tmp_path):
    """An unstable step, nothing at all, one effect."""
    nothing = LoopCost(*[float("nan")] * 5)
    effects = (found.effects[0]._replace(effect=nothing, words="unstable one"), *found.effects[1:])
    save(steps_figure(found._replace(effects=effects)), tmp_path / "a.png")
    save(steps_figure(found._replace(effects=())), tmp_path / "a.png")
    save(steps_figure(found._replace(effects=effects[:1])), tmp_path / "a.png")


def test_indices_in_their_places(found, tmp_path):
    spreads = (SpreadOut("a.b_mm", "mm", 1.0, 2.0), SpreadOut("c.d", "1/s", 3.0, 5.0))
    indices = Indices(np.array([0.1, 0.5]), np.array([0.02, 0.03]), np.array([0.2, 0.8]), np.array([0.05, 0.1]))
    names = ("phase_margin_deg", "delay_margin_ticks", "modulus_margin", "error_mmHg")
    study = Study(spreads, dict.fromkeys(names, indices), dict.fromkeys(names, np.linspace(1.0, 2.0, 11)), 0.25, 48)
    figure = sobol_figure(found, study)
    first = figure.axes[0]
    assert [t.get_text() for t in first.get_yticklabels()] == ["a.b_mm\n1 … 2", "c.d\n3 … 5 1/s"]
    assert [bar.get_width() for bar in first.patches] == [0.2, 0.8, 0.1, 0.5]
    assert "5 to 95 %: 1.05 … 1.95" in first.get_xlabel()
    assert "25.0 % of them unstable" in figure.legends[0].get_title().get_text()
    save(figure, tmp_path / "a.png")
