"""The picture of one search, by what is drawn."""
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.calibration.search.staircase import step_rows
from experiments.calibration.search.trial import truth_of
from experiments.calibration.search.trial_pictures import (
    largest_pulsation_mmHg,
    moving_mean,
    search_figure,
    signed,
    why_not_the_largest,
)
from plant.finger.artery import static_area


def texts(axes):
    return [t.get_text() for t in axes.texts]


@pytest.mark.parametrize("name", ["classroom", "arctangent", "waveform", "probing"])
def test_a_search_that_found_a_set_point(trials, name):
    """Four panels; every step numbered in both; found, interval and truth marked where they are."""
    trial = trials[name]
    figure = search_figure(trial)
    pressures, distance, seen, true = figure.axes
    truth, rows = truth_of(trial), step_rows(trial)
    shown = [str(r.number) for r in rows if r.pulsation == r.pulsation]
    assert [t for t in texts(seen) if t.isdigit()] == shown
    assert set(shown) <= set(texts(pressures))
    labels = seen.get_legend_handles_labels()[1]
    assert "true" in labels and "found, ± 90 %" in labels
    assert ("law fitted to the staircase" in labels) is (name != "classroom")
    upright = [line.get_xdata() for line in seen.lines if len(line.get_xdata()) == 2]
    lines = [x[0] for x in upright if x[0] == x[1]]
    assert truth.cuff_mmHg in lines and truth.held_cuff_mmHg in lines
    assert any(f"off by {signed(trial.calibration.error_mmHg)} mmHg" in t for t in texts(true))
    assert signed(trial.calibration.error_mmHg) in figure.get_suptitle() and name in figure.get_suptitle()
    assert distance.get_xlim() == pressures.get_xlim() and distance.get_ylim() == (-25.0, 25.0)
    assert any("at the\nset point" in t for t in texts(pressures))
    for axes in figure.axes:
        assert axes.get_xlabel() or axes is pressures
        assert "mmHg" in axes.get_ylabel() or "%" in axes.get_ylabel()
    figure.draw_without_rendering()


@pytest.mark.parametrize("name", ["no pulse", "loose cuff", "saturated"])
def test_a_search_that_failed(trials, name):
    figure = search_figure(trials[name])
    _, distance, _, true = figure.axes
    assert "no set point" in figure.get_suptitle()
    words = " ".join(" ".join(texts(true)).split())
    assert trials[name].calibration.outcome.message.split("(")[0].strip() in words
    # the whole way is in the picture, however far from the unloaded state it was
    low, high = distance.get_ylim()
    values = np.concatenate([np.asarray(line.get_ydata(), float) for line in distance.lines])
    assert low <= np.min(values) and np.max(values) <= high
    assert "found, ± 90 %" not in figure.axes[2].get_legend_handles_labels()[1]
    figure.draw_without_rendering()


@given(st.integers(2, 400), st.integers(1, 50))
def test_a_moving_mean_keeps_a_straight_line_inside(count, ticks):
    """And a constant everywhere."""
    line = np.arange(count, dtype=float)
    half = max(ticks // 2, 1)
    smooth = moving_mean(line, ticks)
    inside = slice(2 * half, count - 2 * half)
    assert smooth.shape == line.shape and np.allclose(smooth[inside], line[inside], atol=1e-9)
    assert np.allclose(moving_mean(np.full(count, 3.25), ticks), 3.25, atol=1e-12)


def test_why_the_largest_pulsation_is_elsewhere(trials):
    """By the law itself: no cuff pressure beside it swings the area more; the words say how far off it is."""
    trial = trials["probing"]
    truth = truth_of(trial)
    largest = largest_pulsation_mmHg(trial, truth, 200.0)
    tone = float(np.mean(trial.session.inputs.tone[trial.judged]))

    def swing(cuff):
        external = trial.rig.plant.tissue.transmission * cuff
        high, low = (static_area(trial.rig.plant.artery, p - external, tone)
                     for p in (truth.systolic_mmHg, truth.diastolic_mmHg))
        return high - low

    assert swing(largest) >= max(swing(largest - 1.0), swing(largest + 1.0), swing(truth.cuff_mmHg))
    words = why_not_the_largest(truth, largest, trial.rig.plant.tissue.transmission)
    whole, middle, skew = (float(v.replace("−", "-")) for v in re.findall(r"[+−]\d+\.\d\d", words))
    assert whole == pytest.approx(largest - truth.cuff_mmHg, abs=0.01)
    assert whole == pytest.approx(middle + skew, abs=0.02)
    assert middle > 0.0, "a pulse is longer low than high"
    told = [text for text in texts(search_figure(trial).axes[2]) if text.startswith("short grey line")]
    assert len(told) == 1, "on its own scale of pressures"


def test_numbers_with_a_sign():
    assert signed(-0.836) == "−0.84" and signed(1.0) == "+1.00"
