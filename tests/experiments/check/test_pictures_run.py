"""Figures of a run: what they draw is the run, and every axis says its unit."""
from dataclasses import replace

import numpy as np
import pytest

from experiments.check.check import run_tracking
from experiments.check.pictures_run import tracking_figure
from experiments.work.style import save


@pytest.fixture(scope="module")
def figure(run):
    return tracking_figure(run, run_tracking(run), "wrist on synthetic")


def by_label(axes):
    return {line.get_label(): line for line in axes.lines}


def test_axes_have_labels_with_units(figure):
    assert [a.get_ylabel() for a in figure.axes] == ["pressure (mmHg)", "pressure (mmHg)", "tracking error (mmHg)"]
    assert figure.axes[2].get_xlabel() == "time (s)" and figure.get_suptitle() == "wrist on synthetic"
    assert [t.get_text() for t in figure.axes[1].get_legend().get_texts()] == [
        "arterial pressure", "ideal", "cuff pressure"
    ]


def test_the_whole_run_is_there(figure, run):
    whole = figure.axes[0]
    time, cuff = by_label(whole)["cuff pressure"].get_data()
    assert time[0] == 0.0 and time[-1] > 7.99 and whole.get_xlim() == (0.0, 8.0)
    np.testing.assert_array_equal(cuff, run.channels["cuff_mmHg"][:: len(run.channels["mode"]) // len(time)])
    assert [t.get_text() for t in whole.texts] == ["fill", "vent"]
    spans = [patch.get_extents().transformed(whole.transData.inverted()) for patch in whole.patches]
    assert (spans[0].x0, spans[0].x1) == pytest.approx((0.0, 2.0), abs=0.01)
    assert (spans[1].x0, spans[1].x1) == pytest.approx((7.5, 8.0), abs=0.01)


def test_the_close_up_is_settled_clamp(figure, run):
    """Only ticks that count, all samples, and the error is cuff less ideal."""
    close, error = figure.axes[1], figure.axes[2]
    time, cuff = by_label(close)["cuff pressure"].get_data()
    ticks = np.rint(time / 1e-3).astype(int)
    assert np.all(run.counted[ticks]) and np.all(np.diff(ticks) == 1)
    np.testing.assert_array_equal(cuff, run.channels["cuff_mmHg"][ticks])
    np.testing.assert_allclose(error.lines[0].get_ydata(), cuff - by_label(close)["ideal"].get_ydata())
    assert error.get_xlim() == close.get_xlim()
    assert f"rms {run_tracking(run).ideal.rms_mmHg:.2f} mmHg" in error.get_title(loc="left")


def test_a_long_run_shows_four_seconds(checked, run):
    longer = replace(run, plan=run.plan._replace(settle_s=1.0))
    close = tracking_figure(longer, None, "title").axes[1]
    low, high = close.get_xlim()
    assert high - low == pytest.approx(4.0) and low >= 3.0 and high <= 7.5


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("ticks", [1, 5, 1500, 2500])
def test_a_run_that_ended_early_can_be_drawn(run, tmp_path, ticks):
    """Nothing counts yet: what there is is drawn, and the status stands above it."""
    short = replace(run, status="diverged", channels={k: v[:ticks] for k, v in run.channels.items()})
    figure = tracking_figure(short, None, "title")
    save(figure, tmp_path / "a.png")
    assert figure.axes[0].get_title(loc="left") == "diverged"
