"""The matrix: a cell for each pair, its mark the worst outcome, pale where nothing changes."""
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from test_fault_tables import study  # noqa: F401

from controller.protection import FALLBACKS, TRANSITIONS
from experiments.fault_tables import summary_table
from experiments.figures_faults import OUTCOMES, fallback_figure, fault_matrix, outcome_of


def test_worse_is_later(study):  # noqa: F811
    table = summary_table(study)
    assert outcome_of(table[0, ""]) == 0 and outcome_of(table[0, "relief"]) == 4 and outcome_of(table[1, ""]) == 2
    assert outcome_of(table[0, ""]._replace(breaks=("vent",))) == 3
    assert outcome_of(table[0, ""]._replace(undetected=1)) == 1


def test_marks_stand_where_something_is_broken(study):  # noqa: F811
    axes = fault_matrix(study, summary_table(study)).axes[0]
    marks = [t.get_text() for t in axes.texts]
    assert marks == ["P", "W"], "one without the relief valve, one with everything; none twice, none for the cough"
    assert len(axes.patches) == 4
    assert [t.get_text() for t in axes.get_yticklabels()] == ["valve stuck open", "emitter out"]
    assert len({colour for _, colour, _ in OUTCOMES}) == len({mark for *_, mark in OUTCOMES}) == len(OUTCOMES)


def test_every_state_and_every_way_is_drawn():
    axes = fallback_figure().axes[0]
    words = [t.get_text() for t in axes.texts if t.get_text()]
    assert {name.upper() for name in FALLBACKS} <= set(words) and {word for *_, word in TRANSITIONS} <= set(words)
    assert sum(getattr(t, "arrow_patch", None) is not None for t in axes.texts) == len(TRANSITIONS)
