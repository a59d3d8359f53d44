"""The figure of a wear plan draws its turns and its integrals, and says why a plan is refused."""
import numpy as np
import pytest

from calibrate.wear import WearLimits, WearPlan
from experiments.calibration.wear.pictures import wear_figure
from experiments.work.style import save


def loads(figure):
    return {line.get_label().split(":")[0]: line for line in figure.axes[1].lines if line.get_label()[0] != "_"}


def bars(figure, finger):
    return [path.get_extents() for path in figure.axes[0].collections[finger].get_paths()]


def test_turns_and_integrals_of_two_fingers():
    figure = wear_figure(WearPlan(6.0, 2, 60.0), 100.0)
    for finger, starts in ((0, [0, 2, 4]), (1, [1, 3, 5])):
        assert [bar.x0 for bar in bars(figure, finger)] == pytest.approx(starts)
        assert [bar.width for bar in bars(figure, finger)] == pytest.approx([1.0] * 3)
        time, load = loads(figure)[f"finger {finger + 1}"].get_data()
        assert load[-1] == pytest.approx(300.0) and time[-1] == 6.0 and np.all(np.diff(load) >= 0.0)
    assert loads(figure)["for comparison"].get_ydata()[-1] == pytest.approx(600.0)
    assert figure.get_suptitle().split("\n") == [
        "6 h on two fingers in turns: refused",
        "· finger 1 is under pressure for 60 min without a break, more than 40 min"]


def test_the_fingers_can_be_told_apart_without_colour():
    figure = wear_figure(WearPlan(6.0, 2, 60.0), 100.0)
    first, second = (loads(figure)[f"finger {n}"] for n in (1, 2))
    assert first.get_linestyle() != second.get_linestyle() and first.get_color() != second.get_color()
    assert len({c.get_hatch() for c in figure.axes[0].collections}) == 2


def test_a_refused_plan_says_why_and_where():
    figure = wear_figure(WearPlan(96.0, 2, 90.0), 100.0)
    title = figure.get_suptitle().split("\n")
    assert title[0].endswith("refused") and len(title) == 4
    assert "96 h is longer than the 30 h" in title[1] and "90 min" in title[2] and "4800 mmHg·h" in title[3]
    spans = [p.get_extents().transformed(figure.axes[0].transData.inverted()) for p in figure.axes[0].patches]
    assert (spans[0].x0, spans[0].x1) == pytest.approx((30.0, 96.0))
    assert [t.get_text() for t in figure.axes[1].texts] == ["beyond 30 h", "limit"]


def test_one_finger_never_rests():
    figure = wear_figure(WearPlan(6.0, 1), 90.0, WearLimits(6.0), "night")
    assert figure.get_suptitle() == "night: accepted" and len(bars(figure, 0)) == 1
    (line,) = loads(figure).values()
    assert line.get_label() == "finger 1: 6 h under pressure, never rests; 540 mmHg·h"


def test_axes_have_labels_with_units():
    rows, load = wear_figure(WearPlan(4.0, 2), 90.0).axes
    assert load.get_xlabel() == "time (h)" and load.get_ylabel() == "pressure–time integral (mmHg·h)"
    assert [t.get_text() for t in rows.get_yticklabels()] == ["finger 1", "finger 2"]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("plan", [WearPlan(72.0, 2), WearPlan(9.0, 1), WearPlan(0.5, 2)])
def test_it_can_be_saved(plan, tmp_path):
    save(wear_figure(plan, 90.0), tmp_path / "wear.png")
    assert (tmp_path / "wear.png").read_bytes().startswith(b"\x89PNG")
