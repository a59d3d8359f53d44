"""The spread of virtual fingers, by what is drawn."""
import numpy as np

from experiments.subjects.pictures import spread_figure
from experiments.subjects.population import sample_fingers


def test_each_parameter_over_its_median():
    people = sample_fingers(30)
    figure = spread_figure("mixed", people)
    axes = figure.axes[0]
    names = [label.get_text() for label in axes.get_yticklabels()]
    place = names.index("pressure.diastolic_mmHg [mmHg]")
    values = np.array([finger.pressure.diastolic_mmHg for finger in people])
    drawn = axes.lines[3 * place].get_xdata()
    np.testing.assert_allclose(drawn, np.quantile(values, (0.05, 0.95)) / np.median(values))
    assert "over the median" in axes.get_xlabel() and axes.get_legend() is not None
    figure.draw_without_rendering()


def test_one_finger_has_no_spread():
    spread_figure("mixed", sample_fingers(1)).draw_without_rendering()
