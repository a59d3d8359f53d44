"""Figures of the linear loop: what they draw is what was computed, and every axis says its unit."""
import numpy as np
import pytest

from controller.margins.budget import BudgetRow
from controller.margins.step import tracking_step
from experiments.check.check import judge_loops
from experiments.check.pictures_loop import budget_figure, loop_response, margins_figure, side_name
from experiments.rigs.rig import load_rig
from experiments.work.style import save


def judged(*changes):
    return [(j.loop, j.margins) for j in judge_loops(load_rig("wrist", list(changes)), {"here": 95.0})]


@pytest.fixture(scope="module")
def pair():
    return judged()


def lines(axes):
    """Curves of a side's full length."""
    return [line for line in axes.lines if len(line.get_xdata()) > 50]


def test_axes_have_labels_with_units(pair):
    figure = margins_figure(pair, "title")
    top, right, bottom, lower = figure.axes
    assert [a.get_ylabel() for a in (top, bottom)] == ["open-loop gain (dB)", "open-loop phase (°)"]
    assert bottom.get_xlabel() == "frequency (Hz)"
    assert (right.get_xlabel(), right.get_ylabel()) == ("real part of the loop gain", "imaginary part")
    assert (lower.get_xlabel(), lower.get_ylabel()) == ("time after a step of 1 mmHg (ms)", "cuff answer (mmHg)")
    assert [t.get_text() for t in top.get_legend().get_texts()] == ["valve, fill side", "valve, vent side"]
    assert figure.get_suptitle() == "title"


def test_curves_are_the_loop(pair):
    """Gain is 1 at the crossover drawn, phase there is the margin above -180°, and the step is the sampled one."""
    figure = margins_figure(pair, "title")
    top, right, bottom, lower = figure.axes
    for (loop, found), gain, phase, step, plane in zip(
        pair, lines(top), lines(bottom), lines(lower), lines(right), strict=False
    ):
        frequency, decibel = gain.get_data()
        assert np.interp(found.crossover_Hz, frequency, decibel) == pytest.approx(0.0, abs=0.02)
        at_crossover = np.interp(found.crossover_Hz, *phase.get_data())
        assert at_crossover == pytest.approx(found.phase_margin_deg - 180.0, abs=0.3)
        np.testing.assert_allclose(step.get_ydata(), tracking_step(loop, 120))
        np.testing.assert_allclose(step.get_xdata(), np.arange(120.0))
        x, y = plane.get_data()
        near = np.min(np.hypot(x + 1.0, y))
        assert near == pytest.approx(found.modulus_margin, rel=0.01)
        assert frequency[0] == 1.0 and frequency[-1] == pytest.approx(500.0, rel=1e-3)


def test_the_disc_is_the_modulus_margin(pair):
    right = margins_figure(pair, "title").axes[1]
    least = min(found.modulus_margin for _, found in pair)
    corners = right.patches[0].get_xy()
    np.testing.assert_allclose(np.hypot(corners[:, 0] + 1.0, corners[:, 1]), least)
    assert right.get_title(loc="left") == f"modulus margin {least:.2f} (disc)"


def test_an_unstable_loop_is_not_drawn_as_if_it_were_none():
    """The title says so; no disc, and no step that runs to 1e19; the phase stays in the picture."""
    figure = margins_figure(judged("controller.kp=0.5"), "title")
    _, right, bottom, lower = figure.axes
    assert figure.get_suptitle() == "title: unstable"
    assert not right.patches and right.get_title(loc="left") == "unstable: no modulus margin"
    assert not lines(lower) and "unstable" in lower.texts[0].get_text()
    low, high = bottom.get_ylim()
    for line in lines(bottom):
        assert np.mean((line.get_ydata() > low) & (line.get_ydata() < high)) > 0.5


@pytest.mark.filterwarnings("error")
def test_a_loop_without_gain_can_be_drawn(tmp_path):
    save(margins_figure(judged("controller.kp=0.0"), "title"), tmp_path / "a.png")


def test_a_pressure_type_valve_has_one_side():
    loop = judge_loops(load_rig("cabinet"), {"here": 95.0})[0].loop
    assert side_name(loop) == "pressure-type valve"


def test_response_is_plant_times_controller(pair):
    loop, found = pair[0]
    at = loop_response(loop, np.array([found.crossover_Hz]))
    assert abs(at[0]) == pytest.approx(1.0, rel=1e-9)
    assert np.degrees(np.angle(-at[0])) == pytest.approx(found.phase_margin_deg, abs=1e-6)


def test_budget():
    """One bar a part, the costliest on top, its number beside it, the sum in the label."""
    rows = [BudgetRow("hold", -5.0), BudgetRow("cuff", -90.02), BudgetRow("lead", 12.0), BudgetRow("wall", -0.02)]
    figure = budget_figure(rows, 31.84, "title")
    (axes,) = figure.axes
    assert axes.get_xlabel() == "phase at crossover, 31.8 Hz (°);  sum −83.0°"
    assert [t.get_text() for t in axes.get_yticklabels()] == ["lead", "wall", "hold", "cuff"]
    assert [bar.get_width() for bar in axes.patches] == [12.0, -0.02, -5.0, -90.02]
    assert [t.get_text() for t in axes.texts] == ["+12.0", "0.0", "−5.0", "−90.0"]
    low, high = axes.get_xlim()
    assert low < -90.02 and high > 12.0
