"""The picture has a row a recording, and what is left over beside it."""
from experiments.identify.outcome.pictures import fit_figure
from tests.experiments.identify.outcome.accounts import account


def test_rows_and_labels():
    figure = fit_figure(account())
    assert len(figure.axes) == 2 * len(account().found.problem.recordings)
    assert "mmHg" in figure.axes[0].get_ylabel() and "noise" in figure.axes[1].get_ylabel()
    assert [text.get_text() for text in figure.axes[0].get_legend().get_texts()] == ["recorded", "found"]
