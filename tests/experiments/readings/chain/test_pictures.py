from experiments.readings.chain.pictures import chain_figure
from tests.experiments.readings.chain.one_reading import one_reading


def test_the_chain_from_waveform_to_output() -> None:
    for truth in (one_reading()[1], None):
        figure = chain_figure(one_reading()[0], truth, "a clamp")
        labels = [axes.get_ylabel() for axes in figure.axes]
        assert labels == ["pressure (mmHg)", "upper arm (mmHg)", "stroke volume (mL)", "output (L/min)"]
        words = " ".join(t.get_text() for axes in figure.axes for t in axes.get_legend().get_texts())
        assert ("true" in words) == (truth is not None) and "null: a constant" in words
