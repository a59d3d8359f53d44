"""Figures of a tuning show what they claim."""
import numpy as np
import pytest

from experiments.design.tune.pictures import fingers_figure, sensitivity_figure, trade_off_figure


def labels(figure):
    return [text.get_text() for axes in figure.axes if axes.get_legend() for text in axes.get_legend().get_texts()]


def test_trade_off(tuning):
    figure = trade_off_figure(tuning)
    (axes,) = figure.axes
    assert "sensitivity peak" in axes.get_xlabel() and "mmHg rms" in axes.get_ylabel()
    tuned = next(line for line in axes.get_lines() if line.get_label() == "tuned, every limit kept")
    assert list(tuned.get_xdata()) == [1.5, 1.6]
    assert list(tuned.get_ydata()) == [p.tuned_mmHg for p in tuning.trade_off]
    assert "limit of any linear controller" in labels(figure)
    assert any(name.startswith("SIMC PI × ") for name in labels(figure))


def test_sensitivity_of_the_worst_finger(tuning):
    figure = sensitivity_figure(tuning)
    above, below = figure.axes
    assert tuning.bounds[0].finger in figure.get_suptitle()
    assert below.get_xlabel() == "frequency (Hz)" and "tuned: PI with lead" in labels(figure)
    tuned = above.get_lines()[0].get_ydata()
    assert 1.2 < np.max(tuned) <= 1.6 and tuned[0] < 0.1


def test_every_finger_is_a_point(tuning):
    figure = fingers_figure(tuning)
    (axes,) = figure.axes
    points = [line for line in axes.get_lines() if line.get_linestyle() == "None"]
    assert [len(line.get_xdata()) for line in points] == [8, 8]
    assert points[1].get_ydata() == pytest.approx(tuning.tuned.found.rms_mmHg)
