"""The picture of word lengths."""
from experiments.design.rounding.pictures import rounding_figure
from tests.experiments.design.rounding.helper import wrist


def test_four_panels_with_units_and_what_was_measured():
    figure = rounding_figure(wrist())
    axes = figure.get_axes()
    assert len(axes) == 4 and all(one.get_ylabel() for one in axes) and all(one.get_yscale() == "log" for one in axes)
    measured = axes[0].get_lines()[0]
    assert list(measured.get_ydata()) == [one.added_mmHg for one in wrist().lengths]
    assert "bits are recommended" in figure.get_suptitle()
