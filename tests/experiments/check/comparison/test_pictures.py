"""The picture of rigs side by side, by what is drawn."""
import numpy as np
import pytest

from experiments.check.comparison.pictures import LEAST_deg, comparison_figures
from tests.experiments.check.comparison.comparison_bench import compared


def test_three_panels(checked):
    found = compared(checked)
    figure = comparison_figures(found)["compare"]()
    sensitivity, budget, error = figure.axes
    for check, line in zip(found.checks, [x for x in sensitivity.lines if len(x.get_xdata()) > 10], strict=True):
        assert np.max(line.get_ydata()) == pytest.approx(check.worst.margins.sensitivity_peak, rel=2e-3)
    drawn = [label.get_text() for label in budget.get_yticklabels()]
    costs = {row.part: abs(row.phase_deg) for check in found.checks for row in check.budget}
    assert "dead time" in drawn and all(costs[part] > 0.0 for part in drawn) and LEAST_deg > 0.0
    assert len([line for line in error.lines if len(line.get_xdata()) > 1000]) == 2
    assert "wrist" in figure.get_suptitle() and "FAILS" in figure.get_suptitle()
    for axes in figure.axes:
        assert axes.get_xlabel() and axes.get_legend()
    figure.draw_without_rendering()
