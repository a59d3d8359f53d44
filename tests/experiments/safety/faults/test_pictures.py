"""The matrix: a cell for each pair, its mark the worst outcome, pale where nothing changes."""

from controller.protection.protection import FALLBACKS, NORMAL, TRANSITIONS
from experiments.safety.faults.fault import PHYSIOLOGY
from experiments.safety.faults.pictures import OUTCOMES, WAYS_BACK, fallback_figure, fault_matrix, outcome_of
from experiments.safety.faults.summary import summary_table
from tests.experiments.safety.faults.test_text import study  # noqa: F401


def test_worse_is_later(study):  # noqa: F811
    table = summary_table(study)
    assert outcome_of(table[0, ""]) == 0 and outcome_of(table[0, "relief"]) == 5 and outcome_of(table[1, ""]) == 2
    assert outcome_of(table[0, ""]._replace(breaks=("vent",))) == 3
    assert outcome_of(table[0, ""]._replace(breaks=("vent", "skin heat"))) == 4
    assert outcome_of(table[0, ""]._replace(undetected=1)) == 1


def test_marks_stand_where_something_is_broken(study):  # noqa: F811
    axes = fault_matrix(study, summary_table(study)).axes[0]
    marks = [t.get_text() for t in axes.texts]
    assert marks == ["P", "W"], "one without the relief valve, one with everything; none twice, none for the cough"
    assert len(axes.patches) == 4
    assert [t.get_text() for t in axes.get_yticklabels()] == ["valve stuck open", "emitter out"]
    legend = [t.get_text() for t in axes.figure.legends[0].get_texts()]
    assert len(legend) == len(OUTCOMES) + 1 and legend[-1].startswith("pale")
    assert "with all protection and without each (2 fingers)" in axes.figure.get_suptitle()
    assert len({colour for _, colour, _ in OUTCOMES}) == len({mark for *_, mark in OUTCOMES}) == len(OUTCOMES)


def test_every_state_and_every_way_is_drawn():
    axes = fallback_figure().axes[0]
    words = [t.get_text() for t in axes.texts if t.get_text()]
    assert {name.upper() for name in FALLBACKS} <= set(words) and {word for *_, word in TRANSITIONS} <= set(words)
    assert {word for *_, word in WAYS_BACK} <= set(words)
    arrows = [t.arrow_patch for t in axes.texts if getattr(t, "arrow_patch", None) is not None]
    assert len(arrows) == len(TRANSITIONS) + len(WAYS_BACK)
    assert sum(arrow.get_linestyle() == "--" for arrow in arrows) == len(WAYS_BACK)
    reached = {start for start, end, _ in (*TRANSITIONS, *WAYS_BACK) if end == NORMAL}
    assert reached == set(range(1, len(FALLBACKS))), "a way back from each state but normal itself"


def test_a_study_of_physiology_alone_says_so(study, recwarn):  # noqa: F811
    calm = study._replace(faults=tuple(f._replace(kind=PHYSIOLOGY) for f in study.faults))
    axes = fault_matrix(calm, summary_table(calm)).axes[0]
    assert ["no failures in this study" in t.get_text() for t in axes.texts] == [True] and not axes.patches
    assert not recwarn.list


def test_no_word_crosses_an_arrow_or_another_word():
    """As drawn: the boxes of the words against each other and against the lines of all arrows."""
    figure = fallback_figure()
    figure.draw_without_rendering()
    axes = figure.axes[0]
    ways = (*TRANSITIONS, *WAYS_BACK)
    words = {t.get_text() for t in axes.texts} & {word for *_, word in ways}
    boxes = [t.get_window_extent() for t in axes.texts if t.get_text() in words]
    assert len(boxes) == len(ways)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])
    for text in axes.texts:
        if getattr(text, "arrow_patch", None) is not None:
            (x1, y1), (x2, y2) = axes.transData.transform([text.xyann, text.xy])
            along = [(x1 + k / 50 * (x2 - x1), y1 + k / 50 * (y2 - y1)) for k in range(51)]
            assert not any(box.contains(x, y) for box in boxes for x, y in along)
