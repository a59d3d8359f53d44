"""The catalogue: enough, named, found, and every entry changes the run it is injected into."""

import numpy as np
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE, FAILURES, excluded_faults, find_faults
from experiments.safety.faults.fault import AT_START, PHYSIOLOGY
from plant.errors import InputError
from tests.experiments.safety.faults.fault_bench import bench


def same(one, two):
    """Whether two cases are equal in all that a run sees."""
    arrays = zip((*one.inputs, *one.orders), (*two.inputs, *two.orders), strict=True)
    return all(np.array_equal(a, b) for a, b in arrays) and all(
        getattr(one, name) == getattr(two, name) for name in ("plant", "firmware", "fault", "state"))


WITHOUT_EFFECT = {"quiet", "wear_timer_failed", "alarm_dead"}  # there to do nothing: what fails is what should act


def test_it_is_long_enough_and_every_name_is_its_own():
    assert len(FAILURES) >= 30 and len(CATALOGUE) == len({f.name for f in CATALOGUE.values()})
    assert sum(f.kind == PHYSIOLOGY for f in CATALOGUE.values()) >= 7
    assert all(f.mode and f.item and f.inject.__doc__ for f in CATALOGUE.values())


@pytest.mark.parametrize("rig", ["wrist", pytest.param("cabinet", marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", [n for n in CATALOGUE if n not in WITHOUT_EFFECT])
def test_each_injector_changes_the_run(rig, name):
    """With all protection taken away, so that nothing but the failure itself is seen."""
    fault, here = CATALOGUE[name], bench(rig)
    if why := fault.excluded(here.rig):
        pytest.skip(f"{rig}: {why}")
    quiet = CATALOGUE["quiet"]._replace(onset=fault.onset)
    _, normal = here.run(quiet, lost=PROTECTIONS, trace=True)
    _, failed = here.run(fault, lost=PROTECTIONS, trace=True)
    assert len(failed) != len(normal) or not np.array_equal(failed, normal)


@pytest.mark.parametrize("name", [n for n, f in CATALOGUE.items() if f.severity == 1.0 and f.onset != AT_START])
def test_less_severe_is_another_run_or_has_no_degrees(name):
    """Severity does something in every injector that has degrees; at 0 a failure by degrees is next to nothing."""
    fault, here = CATALOGUE[name], bench()
    case = here.case(here.onset_tick)
    whole, none = fault.inject(case, 1.0), fault.inject(case, 0.0)
    if same(whole, none):
        assert name in {"alarm_dead", "channels_swapped", "display_stale", "light_stale", "power_loss",
                        "processor_hung", "pump_stopped", "pump_stuck_on", "quiet", "samples_stale", "sign_error",
                        "tick_doubled", "transducer_open_high", "transducer_open_low", "transducer_stuck",
                        "tube_disconnected", "valve_reversed"}


def test_names_severities_and_what_a_rig_cannot_have():
    rig = load_rig("wrist")
    assert len(find_faults(None, rig)) == len([f for f in CATALOGUE.values() if not f.excluded(rig)])
    found = find_faults("tube_kinked:0.5, cough", rig)
    assert [f.name for f in found] == ["tube_kinked", "cough"] and found[0].severity == 0.5
    bare = load_rig("wrist", ["tube.kind=none"])
    for text, word in (("nonsense", "nonsense"), ("cough:2", "severity"), ("cough:x", "severity"),
                       ("cough:nan", "severity"), (" , ", "names none")):
        with pytest.raises(InputError, match=word):
            find_faults(text, rig)
    with pytest.raises(InputError, match=f"tube_kinked cannot happen to rig {bare.name}: it has no tube"):
        find_faults("tube_kinked", bare)
    assert excluded_faults(rig) == {}
    without = ("tube_kinked", "tube_disconnected", "tube_wet", "changeover_stuck")
    assert excluded_faults(bare) == dict.fromkeys(without, "it has no tube")
