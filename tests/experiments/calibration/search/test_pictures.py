"""The picture of a study, by what is drawn."""
import numpy as np
import pytest

from experiments.calibration.search.pictures import LEAST_mmHg, study_figure
from experiments.calibration.search.piece import FOUND, Plan
from experiments.calibration.search.study import run_study
from experiments.calibration.search.summary import crossover_spreads

PLAN = Plan("wrist", (), ("classroom", "probing"), "mixed", 1, 6, 1, 5)


@pytest.fixture(scope="module")
def study():
    return run_study(PLAN)


def test_four_panels(study):
    figure = study_figure(study)
    errors, stated, times, crossovers = figure.axes
    for line, strategy in zip(errors.lines, PLAN.strategies, strict=False):
        off = sorted(max(abs(r.error_mmHg), LEAST_mmHg) for r in study.rows if r.strategy == strategy and not r.defect)
        np.testing.assert_allclose(line.get_xdata(), off)
        np.testing.assert_allclose(line.get_ydata(), 100.0 * np.arange(1, 7) / 6)
    for line, strategy in zip(stated.lines, PLAN.strategies, strict=False):
        sds = [r.sd_mmHg for r in study.rows if r.strategy == strategy and not r.defect]
        np.testing.assert_allclose(line.get_xdata(), sds, rtol=0.06)
    assert [t.get_text() for t in times.get_yticklabels()] == list(PLAN.strategies)
    spans = {tuple(np.round(line.get_xdata(), 6)) for line in crossovers.lines if len(line.get_xdata()) == 2}
    for spread in crossover_spreads(study.rows).values():
        assert tuple(np.round([spread.low_Hz, spread.high_Hz], 6)) in spans
    assert "6 virtual fingers" in figure.get_suptitle()
    for axes in figure.axes:
        assert axes.get_xlabel() and axes.get_title(loc="left") and axes.get_legend()
    figure.draw_without_rendering()


def test_with_failures_and_a_clamp_that_diverged(study):
    """A failure leaves its finger out; an infinite error counts among all but lies beyond the picture."""
    worse = [r._replace(outcome="timed out", error_mmHg=np.nan) if r.finger.endswith("0001") else r for r in study.rows]
    worse = [r._replace(error_mmHg=np.inf) if r.finger.endswith("0002") and not r.defect else r for r in worse]
    figure = study_figure(study._replace(rows=worse))
    line = figure.axes[0].lines[0]
    assert len(line.get_xdata()) == 4 and line.get_ydata()[-1] == pytest.approx(80.0)
    assert "classroom 1, probing 1" in figure.get_supxlabel()
    figure.draw_without_rendering()


def test_a_strategy_that_never_finds_anything(study):
    none = [r._replace(outcome="timed out", error_mmHg=np.nan) if r.strategy == "probing" else r for r in study.rows]
    assert any(r.outcome == FOUND for r in none)
    study_figure(study._replace(rows=none)).draw_without_rendering()
