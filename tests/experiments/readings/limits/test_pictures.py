from experiments.readings.limits.pictures import require_figure
from tests.experiments.readings.limits.required import one_answer


def test_axes_have_units_and_the_rig_is_there() -> None:
    figure = require_figure(one_answer())
    left, right = figure.axes
    assert "mmHg" in left.get_ylabel() and "%" in right.get_ylabel() and "Hz" in left.get_xlabel()
    assert any("wrist" in text.get_text() for text in left.get_legend().get_texts())
