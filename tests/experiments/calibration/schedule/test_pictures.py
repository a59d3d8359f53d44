"""Pictures of a comparison: what they draw are its figures, every axis says its unit, names do not collide."""
import itertools
from dataclasses import replace

import numpy as np
import pytest

from experiments.calibration.schedule.measures import METRIC
from experiments.calibration.schedule.pictures import chosen_finger, course_figure, frontier_figure
from experiments.calibration.schedule.summary import summaries
from experiments.work.style import save


@pytest.fixture(scope="module")
def frontier(comparison):
    return frontier_figure(summaries(comparison), "wrist: 2 fingers, 2 min each")


@pytest.fixture(scope="module")
def course(comparison):
    return course_figure(comparison)


def shown(figure):
    return [axes for axes in figure.axes if axes.get_visible()]


def test_a_panel_for_each_scenario_and_one_for_all(frontier):
    assert [axes.get_title(loc="left") for axes in shown(frontier)] == ["quiet", "cold", "all scenarios together"]
    assert frontier.axes[0].get_ylabel() == "rms error of mean pressure (mmHg)"
    assert all(axes.get_xlabel() == "time without waveform (%)" for axes in shown(frontier))


def test_every_schedule_is_a_point_with_its_name(frontier, comparison):
    rows = summaries(comparison)
    for axes, scenario in zip(shown(frontier), ("quiet", "cold", "all"), strict=True):
        points = {line.get_label(): line.get_xydata()[0] for line in axes.lines if len(line.get_xydata()) == 1}
        some = [r for r in rows if r.scenario == scenario]
        assert set(points) == {t.get_text() for t in axes.texts} == {r.schedule for r in some}
        for r in some:
            assert points[r.schedule] == pytest.approx((100.0 * r.lost_share, r.rms_mmHg))
        bold = {t.get_text() for t in axes.texts if t.get_fontweight() == "bold"}
        assert bold == {r.schedule for r in some if r.efficient}


def test_no_marker_hides_the_baseline(comparison):
    """Where another schedule comes to lie on it, it is a wide open mark above the other's."""
    rows = summaries(comparison)
    both = [rows[0]._replace(schedule="signs"), rows[0]._replace(schedule="every:20")]
    marks = {line.get_label(): line for line in shown(frontier_figure(both, "x"))[0].lines
             if len(line.get_xydata()) == 1}
    every = next(line for name, line in marks.items() if name.startswith("every"))
    rest = [line for line in marks.values() if line is not every]
    assert rest and every.get_markerfacecolor() == "none"
    assert all(every.get_zorder() > line.get_zorder() for line in rest)
    assert all(every.get_markersize() > line.get_markersize() + 2.0 for line in rest)


def test_the_line_is_a_staircase_through_the_efficient_ones(frontier, comparison):
    for axes, scenario in zip(shown(frontier), ("quiet", "cold", "all"), strict=True):
        line = next(line for line in axes.lines if len(line.get_xydata()) > 1)
        x, y = line.get_data()
        assert np.all(np.diff(x) >= 0.0) and np.all(np.diff(y) <= 0.0)
        corners = set(zip(np.round(x, 9), np.round(y, 9), strict=True))
        for r in summaries(comparison):
            if r.scenario == scenario and r.efficient:
                assert (round(100.0 * r.lost_share, 9), round(r.rms_mmHg, 9)) in corners


def test_names_do_not_lie_on_each_other(frontier):
    for axes in shown(frontier):
        boxes = [t.get_window_extent() for t in axes.texts]
        for one, other in itertools.combinations(boxes, 2):
            assert not (one.x0 < other.x1 and other.x0 < one.x1 and one.y0 < other.y1 and other.y0 < one.y1)


def test_a_schedule_that_showed_nothing_has_no_point(comparison):
    rows = [r._replace(rms_mmHg=float("nan")) if r.schedule == "never" else r for r in summaries(comparison)]
    figure = frontier_figure(rows, "")
    assert {t.get_text() for t in figure.axes[0].texts} == {"growing", "steady"}
    nothing = frontier_figure([r._replace(rms_mmHg=float("nan")) for r in rows], "")
    assert not nothing.axes[0].texts


def test_the_course_of_one_finger(course, comparison):
    finger = chosen_finger(comparison, 1)
    assert comparison.fingers[finger].name in course.get_suptitle() and "scenario cold" in course.get_suptitle()
    tone, *errors = course.axes
    assert [axes.get_title(loc="left").split(":")[0] for axes in errors] == ["never", "growing", "steady"]
    np.testing.assert_array_equal(tone.lines[0].get_ydata(), comparison.run(0, 1, finger).course[2])
    for i, axes in enumerate(errors):
        run = comparison.run(i, 1, finger)
        curve = next(line for line in axes.lines if len(line.get_xdata()) == 24)
        low, high = axes.get_ylim()
        assert np.nanmax(np.abs(curve.get_ydata() - np.clip(run.course[0], low / 1.1, high / 1.1))) < 1e-6
        assert f"{100 * run.figures[METRIC['lost_share']]:.1f} % lost" in axes.get_title(loc="left")
        shading = np.array([bar.get_facecolor()[3] for bar in axes.patches])
        assert np.all((shading > 0.0) == (run.course[1] < 1.0)) and len(shading) == 24
    assert course.axes[-1].get_xlabel() == "time (min)" and course.axes[1].get_ylabel() == "mmHg"
    assert [t.get_text() for t in tone.texts] == ["cold begins", "cold ends"]


def test_the_finger_in_the_middle(comparison):
    errors = comparison.figures()[1, :, :, METRIC["mean_rms_ideal"]]
    for scenario in (0, 1):
        assert chosen_finger(comparison, scenario) == int(np.argmin(errors[scenario]))  # of two the lesser


@pytest.mark.filterwarnings("error")
def test_a_run_without_a_single_beat_can_be_drawn(comparison, tmp_path):
    runs = {k: list(v) for k, v in comparison.runs.items()}
    silent = runs[1, 0][0]
    figures, course = silent.figures.copy(), silent.course.copy()
    figures[METRIC["mean_rms_ideal"]], course[0], course[1] = np.nan, np.nan, 0.0
    runs[1, 0][0] = silent._replace(figures=figures, course=course)
    study = replace(comparison, steps=2, runs=runs)
    figure = course_figure(study, 1, 0)
    assert "no beat shown" in figure.axes[1].get_title(loc="left")
    save(figure, tmp_path / "c.png")
    save(frontier_figure(summaries(study), ""), tmp_path / "f.png")
