"""The room along a number."""
from experiments.design.until.pictures import until_figure
from experiments.design.until.study import Edge, Room, Until
from experiments.work.style import save
from tests.experiments.design.until.test_text import LIMITS, NUMBER


def test_rooms_edges_and_what_is_far(tmp_path):
    rooms = [Room(v, {"stability": 0.5, "gain_margin_dB.min": r, "far.max": 9.0}, {}) for v, r in
             ((0.01, 0.4), (0.05, 0.1), (0.2, -0.001), (0.3, -0.4))]
    found = Until(NUMBER, rooms[1], Edge(0.01, "", 0.0, False), Edge(0.2, "gain_margin_dB.min", 6.0, False),
                  (*rooms, Room(0.4, {}, {}, "no rig")), LIMITS)
    figure = until_figure(found, "wrist")
    axes = figure.axes[0]
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert labels == ["gain margin ≥ 6 dB", "stability (modulus margin)"]  # the far one would hide the others
    assert any(list(line.get_xydata()[0]) == [0.2, 0.0] for line in axes.lines)
    save(figure, tmp_path / "a.png")
