from experiments.trend.pictures import trend_figures
from tests.experiments.trend.one_study import one_study


def test_every_picture_has_its_parts():
    study = one_study()[0]
    figures = trend_figures(study)
    assert set(figures) == {"hour_quiet", "turns", "failures"}
    hour = figures["hour_quiet"]()
    hour.draw_without_rendering()
    words = {text.get_text() for axes in hour.axes[:3] for text in axes.get_legend().get_texts()}
    assert words == {"every:20", "steady", "true", "null: a constant"}
    assert [label.get_text() for label in hour.axes[3].get_yticklabels()] == ["every:20", "steady"]
    assert all(axes.get_ylabel() for axes in hour.axes[:3]) and hour.axes[3].get_xlabel() == "time (min)"
    turns, failures = figures["turns"](), figures["failures"]()
    assert turns.axes[1].get_xlabel() == "time (h)" and len(turns.axes[1].lines) == 3
    assert [label.get_text() for label in failures.axes[0].get_yticklabels()] == ["height wrong, no warning"]
    for figure in (turns, failures):
        figure.draw_without_rendering()


def test_without_failures_there_is_no_picture_of_them():
    assert "failures" not in trend_figures(one_study()[0]._replace(harms=[]))
