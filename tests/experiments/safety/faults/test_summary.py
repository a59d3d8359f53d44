"""Summaries of a study, on rows made up by hand: every number is known."""
import numpy as np
import pytest

from experiments.safety.faults.summary import first_layer, groups, pair_breaks, single_points, summaries, summary_table
from tests.experiments.safety.faults.made_study import made_study


@pytest.fixture
def study():
    return made_study()


def test_summaries_take_the_worst(study):
    table = summary_table(study)
    first = table[0, ""]
    assert (first.runs, first.highest_mmHg, first.vent_15_s, first.detected_worst_s) == (2, 210.0, 3.0, 8.0)
    assert first.detected_share == 0.5 and first.detected_median_s == 4.25 and first.breaks == ()
    assert first.caught_by == "pressure_rate" and first.undetected == 0
    silent = table[1, ""]
    assert silent.undetected == 1 and np.isnan(silent.detected_median_s) and np.isnan(silent.vent_15_s)
    assert silent.breaks == ("undetected wrong reading",) and silent.caught_by == ""
    assert table[2, ""].breaks == ("false alarm",)
    assert len(summaries(table)) == 3 and len(summaries(table, "relief")) == 2


def test_single_points_are_what_breaks_only_without(study):
    found = single_points(summary_table(study))
    assert [(s.fault.name, s.lost, s.breaks) for s in found] == [("valve_stuck_open", "relief", ("pressure",))]


def test_pairs_that_break_what_neither_breaks_alone(study):
    assert pair_breaks(study, summary_table(study)) == [("valve_stuck_open", "emitter_out", ("vent",), 1)]


def test_groups_hold_every_row_once(study):
    assert sorted(np.concatenate(list(groups(study).values()))) == list(range(len(study.rows)))
    assert first_layer(study, np.array([0, 1])) == "pressure_rate" and first_layer(study, np.array([4])) == ""
