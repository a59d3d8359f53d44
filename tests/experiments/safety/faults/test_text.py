"""Tables of a study, on rows made up by hand: every number is known."""
import csv

import numpy as np
import pytest
import xarray

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.study import KEYS, Plan, Study
from experiments.safety.faults.text import (
    study_json,
    study_lines,
    first_layer,
    groups,
    pair_breaks,
    single_points,
    summaries,
    summary_table,
    write_runs_csv,
    write_runs_netcdf,
)
from experiments.safety.faults.verdict import BREAKS, FaultLimits, broken
from experiments.simulation.outcome import FIGURES, LAYERS
from experiments.work.output import plain

FAULTS = ("valve_stuck_open", "emitter_out", "cough")
RELIEF = PROTECTIONS.index("relief")


def row(finger, fault, lost=-1, second=-1, figures=None, acted=None):
    base = dict.fromkeys(FIGURES, 0.0) | {"highest_mmHg": 150.0, "detected_s": 0.5, "vent_start_s": 0.5,
                                          "below_20_s": 0.1, "below_15_s": 0.2}
    base |= figures or {}
    first = dict.fromkeys(LAYERS, -1.0) | ({"pressure_rate": 0.5, "dump_valve": 0.5} if acted is None else acted)
    return [finger, 0, fault, second, lost, 0, 0, -1.0, *base.values(), *first.values()]


@pytest.fixture
def study():
    rows = np.array([
        row(0, 0), row(1, 0, figures={"highest_mmHg": 210.0, "detected_s": 8.0, "below_15_s": 3.0}),
        row(0, 0, RELIEF, figures={"highest_mmHg": 400.0}), row(1, 0, RELIEF),
        row(0, 1, figures={"detected_s": -1.0, "wrong_longest_s": 33.0, "wrong_mmHg": 20.0, "vent_start_s": -1.0},
            acted={}), row(0, 1, RELIEF, figures={"detected_s": -1.0, "wrong_longest_s": 33.0}),
        row(0, 2, figures={"detected_s": 1.0}), row(0, 0, second=1, figures={"below_15_s": -1.0}),
    ])
    setting = Plan("wrist", (), FAULTS, 2, 1, "mixed", 1, True, ("relief",), 36.0, FaultLimits())
    made = Study(setting, tuple(CATALOGUE[n] for n in FAULTS), rows, np.zeros((len(rows), len(BREAKS)), bool),
                 ("one", "two"), ("three: does not hold",), {"tube_wet": "it has no tube"})
    figures = {name: made.column(name) for name in FIGURES}
    return made._replace(breaks=broken(FaultLimits(), figures, made.column("fault") == 2, 36.0))


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


def test_lines_say_it_all(study):
    text = "\n".join(study_lines(study, summary_table(study)))
    for word in ("BREAKS undetected wrong reading", "not contained with all protection: emitter_out", "relief",
                 "400 mmHg", "1 false alarms in 1 runs", "valve_stuck_open + emitter_out", "three: does not hold",
                 "intermittent cuffs"):
        assert word in text
    assert max(map(len, text.splitlines())) < 200


def test_files_hold_every_run(study, tmp_path):
    write_runs_csv(tmp_path / "a.csv", study)
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.DictReader(file))
    assert len(read) == len(study.rows) and read[2]["protection_lost"] == "relief" and read[2]["breaks"] == "pressure"
    assert float(read[1]["highest_mmHg [mmHg]"]) == 210.0 and read[4]["detected_s [s]"] == ""
    write_runs_netcdf(tmp_path / "a.nc", study, {"rig": "wrist"})
    with xarray.open_dataset(tmp_path / "a.nc") as data:
        assert np.array_equal(data["highest_mmHg"].values, study.column("highest_mmHg"))
        assert data["below_15_s"].attrs["units"] == "s" and data.attrs["rig"] == "wrist"
        assert list(data["breaks_pressure"].values) == [0, 0, 1, 0, 0, 0, 0, 0]


def test_json_is_plain(study):
    document = plain(study_json(study, summary_table(study)))
    assert document["runs"] == len(study.rows) and document["not_contained"] == ["emitter_out", "cough"]
    assert document["single_points"][0]["lost"] == "relief" and len(KEYS) == 8
    assert document["false_alarms"] == 1 and document["person_hours"] == 36.0 / 3600.0
