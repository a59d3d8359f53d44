import numpy as np

from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.pictures import agree_figures
from experiments.readings.agreement.study import Question, of_pairs

RANDOM = np.random.default_rng(1)
TRUTH = 5.0 + RANDOM.standard_normal(60)


def test_pictures_have_labels_with_units_and_limits() -> None:
    for zone in (float("nan"), 0.5):
        found = of_pairs(pairs_of(np.arange(60) // 5, TRUTH + 0.4 * RANDOM.standard_normal(60), TRUTH),
                         Question("L/min", zone=zone))
        figures = {name: draw() for name, draw in agree_figures(found).items()}
        assert set(figures) == {"agreement", "trending"}
        axes = figures["agreement"].axes[0]
        assert "L/min" in axes.get_xlabel() and "L/min" in axes.get_ylabel()
        assert "null predictor" in " ".join(t.get_text() for t in axes.get_legend().get_texts())
        assert len(figures["trending"].axes) == 2
    single = of_pairs(pairs_of(np.arange(60), TRUTH + 0.1, TRUTH))
    assert set(agree_figures(single)) == {"agreement"}
