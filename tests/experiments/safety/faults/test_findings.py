"""What a study says of each failure: gravity, losses that break a limit, the worst that is contained."""
import math

from experiments.safety.faults.findings import (
    BREAKS,
    Failure,
    Outcome,
    breaking_losses,
    broken_words,
    gravity,
    newly_broken,
    single_points,
    uncontained,
    worst_contained,
)

FINE = Outcome(180.0, 0.4, 2.0, 0.0, 0.0)
HIGH = Outcome(340.0, 0.4, 2.0, 0.0, 0.0, ("pressure",))
TRAPPED = Outcome(180.0, 0.4, math.inf, 0.0, 0.0, ("vent",))


def failure(name, protected=FINE, broken=0, **without):
    return Failure(name, "valve", "stuck", "", "", "relief", 20, broken, 0, 0.4, protected, without)


def test_the_gravest_limit_counts():
    ranks = [gravity((limit,)) for limit in BREAKS]
    assert ranks == sorted(ranks, reverse=True) and len(set(ranks)) == len(ranks) and gravity(()) == 0
    assert gravity(("vent", "pressure")) == gravity(("pressure",)) and gravity(("something",)) > 0


def test_single_points_are_what_a_lost_protection_breaks_in_addition():
    assert single_points([failure("a", limit=HIGH, relief=FINE), failure("b", HIGH, 1, limit=HIGH)]) == [
        ("limit", "a", ("pressure",))]
    assert newly_broken(failure("b", HIGH, 1, x=HIGH._replace(broken=("pressure", "vent"))), "x") == ("vent",)


def test_losses_and_what_is_contained_in_order():
    three = failure("a", dump_valve=TRAPPED, relief=HIGH, watchdog=FINE)
    assert breaking_losses(three) == ["relief", "dump_valve"]
    assert [f.name for f in uncontained([failure("t", TRAPPED, 20), failure("h", HIGH, 1), three])] == ["h", "t"]
    assert worst_contained([failure("h", HIGH, 1), failure("t", dump_valve=TRAPPED), three]).name == "a"
    assert worst_contained([failure("h", HIGH, 1)]) is None


def test_words():
    assert broken_words(()) == "every limit kept"
    assert broken_words(("vent", "odd")) == "does not empty in time, breaks odd"
