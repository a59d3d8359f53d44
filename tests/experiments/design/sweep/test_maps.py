"""Maps of a sweep: colours are the figures, the edge parts stable from unstable points, the marks are in place."""
import numpy as np
import pytest
from matplotlib.collections import QuadMesh

from experiments.design.sweep.maps import map_figure
from experiments.design.sweep.verdict import best, limits_of
from experiments.design.sweep.view import view_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig
from experiments.work.style import save

LIMITS = load_requirements(default_requirements("wrist"))


@pytest.fixture(scope="module")
def figure(gains):
    return map_figure(gains, limits_of(gains, LIMITS), view_of(gains))


def test_colours_are_the_figures(gains, figure):
    for axes, name in zip(figure.axes, ("phase_margin_deg", "gain_margin_dB", "sensitivity_peak",
                                        "delay_margin_ticks", "predicted_rms_mmHg", "command_step_sd"), strict=False):
        mesh = next(c for c in axes.collections if isinstance(c, QuadMesh))
        drawn = np.ma.filled(mesh.get_array().astype(float), np.nan)
        np.testing.assert_array_equal(drawn, gains.worst(name).reshape(8, 7).T)
    assert figure.axes[4].get_xlabel() == "controller.kp (1/mmHg)"
    assert figure.axes[4].get_ylabel() == "controller.td_s (s)"


def test_no_colour_scale_is_wasted_or_saturated(gains, figure):
    """At least nine in ten points that are stable lie within each panel's colours, whose ends are those of the data."""
    for axes, name in zip(figure.axes, ("phase_margin_deg", "gain_margin_dB", "sensitivity_peak",
                                        "delay_margin_ticks", "predicted_rms_mmHg", "command_step_sd"), strict=False):
        low, high = next(c for c in axes.collections if isinstance(c, QuadMesh)).get_clim()
        values = gains.worst(name)[gains.worst("stable") == 1.0]
        assert np.mean((values >= low - 1e-9) & (values <= high + 1e-9)) > (0.6 if name == "sensitivity_peak" else 0.85)
        assert high <= np.max(values) + 1e-9 and low >= np.min(values) - 1e-9


def test_the_edge_runs_between_stable_and_unstable(gains, figure):
    """At each of its corners the points on either side differ: stable on one, unstable on the other."""
    edge = next(c for c in figure.axes[0].collections if np.array_equal(c.get_linewidths(), [2.5]))
    kp, td = (np.array(axis.values) for axis in gains.axes)
    stable = gains.worst("stable").reshape(8, 7) == 1.0
    corners = np.concatenate([path.vertices for path in edge.get_paths()])
    assert len(corners) > 4
    for x, y in corners:
        i, j = np.searchsorted(kp, x), np.searchsorted(td, y)
        cell = stable[max(i - 1, 0) : i + 1, max(j - 1, 0) : j + 1]
        assert np.any(cell) and not np.all(cell)


def test_marks(gains, figure):
    marks = {line.get_marker(): line.get_xydata()[0] for line in figure.axes[0].lines}
    law = load_rig("wrist").controller
    np.testing.assert_array_equal(marks["D"], [law.kp, law.td_s])
    at = best(gains, limits_of(gains, LIMITS))
    assert ("*" in marks) == (at is not None)
    if at is not None:
        np.testing.assert_array_equal(marks["*"], gains.points[at])
    title = figure.legends[0].get_title().get_text()
    assert title.startswith("wrist on synthetic pressure") and "binds" in title


@pytest.mark.filterwarnings("error")
def test_all_unstable_all_stable_and_not_to_be_had(gains, make_sweep, tmp_path):
    for texts in (["controller.kp=0.4:1.2:6", "controller.td_s=0.006:0.06:6"],
                  ["controller.kp=0.01:0.02:6:log", "controller.td_s=0.002:0.003:6:log"],
                  ["supply.pressure_mmHg=100:600:6", "controller.kp=0.004:0.02:6"]):
        found = make_sweep(texts)
        save(map_figure(found, limits_of(found, LIMITS), view_of(found)), tmp_path / "a.png")


def test_columns(make_sweep, tmp_path):
    found = make_sweep(["controller.kp=0.01:0.04:6", "controller.td_s=0.001:0.006:6", "tube.length_m=0.05,0.3"])
    figure = map_figure(found, [], view_of(found))
    assert [a.get_title() for a in figure.axes[:2]] == ["tube.length_m = 0.05 m", "tube.length_m = 0.3 m"]
    diamonds = [any(line.get_marker() == "D" for line in a.lines) for a in figure.axes[:6]]
    assert diamonds == [True, False, True, False, True, False]
    save(figure, tmp_path / "a.png")
