"""A failure on the page is a failure of `simulate`: the same layers at the same times."""
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.bench.answers.broken import FILL_s, SETTLE_s, broken, failures_of, protections_of
from experiments.bench.asked import Refused
from experiments.bench.setup import whole_record
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.single import simulate_failing
from experiments.simulation.simulate import Plan
from tests.experiments.bench.helper import SETUP, asked


def run(**options):
    return next(broken(asked(options=options)))


def test_layers_act_as_in_simulate_and_in_order():
    found = run(failure="valve_stuck_open", severity=0.5, onset_s=11.0)
    direct = simulate_failing(load_rig("wrist"), whole_record(SETUP, 0.001), "valve_stuck_open:0.5", 11.0, (),
                              Plan(FILL_s, SETTLE_s), SETUP.seed)
    assert {one["name"]: one["after_s"] for one in found.head["acted"]} == {
        name: at for name, at in direct.acted.items() if at >= 0.0}
    times = [one["after_s"] for one in found.head["acted"]]
    assert times and times == sorted(times) and found.head["figures"] == direct.figures
    assert found.head["status"] == "vented" and len(found.arrays["time_s"]) == len(found.arrays["shown_mmHg"])


def test_without_the_first_catcher_another_acts_and_nothing_acts_where_nothing_fails():
    usual = run(failure="tube_kinked", onset_s=11.0).head["acted"]
    first = next(one["name"] for one in usual if one["name"] in PROTECTIONS)
    without = run(failure="tube_kinked", onset_s=11.0, lost=[first]).head["acted"]
    assert first not in [one["name"] for one in without]
    quiet = run(onset_s=11.0).head
    assert quiet["acted"] == [] and quiet["status"] == "done"


def test_what_is_there_from_the_start_begins_with_the_run():
    assert run(failure="gains_low").head["onset_s"] == 0.0


@pytest.mark.parametrize("options", [
    {"failure": "nothing"}, {"failure": ["tube_kinked"]}, {"severity": 2.0}, {"severity": "1"}, {"onset_s": True},
    {"onset_s": float("nan")}, {"lost": "relief"}, {"lost": ["x"]}, {"lost": [["relief"]]},
], ids=str)
def test_what_is_not_known_is_refused(options):
    with pytest.raises(Refused):
        run(**options)


def test_the_catalogue_and_the_protections_in_words():
    rig = load_rig("cabinet")
    assert [one["name"] for one in failures_of(rig)] == list(CATALOGUE)
    assert any(one["excluded"] for one in failures_of(rig))
    assert [one["name"] for one in protections_of(rig)] == list(PROTECTIONS)
