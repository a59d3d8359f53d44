"""The identification: it arrives, its intervals hold the truth, a wrong model is told, what is not told is said."""
import numpy as np
import pytest

from experiments.identify.fit.study import Held, identify, in_words, search
from experiments.identify.replay.candidates import free_of, value_of
from experiments.rigs.rig import load_rig
from tests.experiments.identify.benches import identified, pieces, problem, recorded


@pytest.mark.parametrize("name", ["cabinet", "wrist"])
def test_it_arrives_and_its_intervals_hold_the_truth(name):
    """Every number within four standard uncertainties, from a start that is the built-in rig."""
    found, true = identified(name)
    assert found.fits and found.all_told and found.twin is None and not found.confounded
    rig = load_rig(name)
    for one in found.found:
        expected = true.get(one.free.name, value_of(rig, one.free.name))
        assert abs(one.value - expected) < 4.0 * one.sd
        assert one.sd < 0.03 * one.value
    assert abs(found.pulls[0]) < 1.0 and len(found.leftovers) == 2 and found.condition < 1000.0
    assert abs(found.offset_mmHg) < 0.05


def test_a_volume_that_is_off_is_carried_through():
    """Three standard uncertainties too large: flows move with it as was said, and it is still a fit."""
    found, _ = identified("cabinet", off=3.0)
    right, _ = identified("cabinet")
    assert found.fits and 2.5 < -found.pulls[0] < 3.5
    by = {one.free.name: one.by_held[0] for one in right.found}
    assert by["valve.outlet_resistance_mmHg_s_mL"] == pytest.approx(-1.0, abs=0.6)
    assert abs(by["valve.range_mmHg"]) < 0.01
    for one, other in zip(found.found, right.found, strict=True):
        moved = np.log(one.value / other.value) / 0.06
        assert moved == pytest.approx(other.by_held[0], abs=0.1 + 0.15 * abs(other.by_held[0]))


def test_a_wrong_model_is_told():
    """Play of half a percent in the valve's command: nothing of it is in the built-in rig."""
    truth = load_rig("cabinet", ["valve.hysteresis=0.01"])
    made = problem("cabinet", recorded(truth, pieces("cabinet", ("click",))), ("timing", "transducer"))
    volume = free_of(load_rig("cabinet"), "cuff.volume_mL")
    found = identify(made, [Held(volume, 2.5, 0.05, False)], starts=1, full=False)
    assert not found.fits and max(left.ratio for left in found.leftovers) > 2.0


def test_a_holdout_is_tested_and_not_fitted():
    rig = load_rig("cabinet")
    one, other = recorded(rig, pieces("cabinet", ("click", "vent_down")))
    bent = other._replace(holdout=True, channels={"reading_mmHg": 1.01 * other.channels["reading_mmHg"]})
    made = problem("cabinet", (one, bent), ("timing",))
    volume = free_of(rig, "cuff.volume_mL")
    found = identify(made, [Held(volume, 2.5, 0.0, False)], starts=1, full=False)
    assert [left.is_noise for left in found.leftovers] == [True, False] and not found.fits


def test_what_cannot_be_told_is_said():
    """Conductance and supply pressure: choked flow is their product. The reason names the other one."""
    rig = load_rig("wrist")
    made = problem("wrist", recorded(rig, pieces("wrist", ("click",))), ("valve.conductance", "supply.pressure_mmHg"))
    volume = free_of(rig, "cuff.volume_mL")
    found = identify(made, [Held(volume, 2.5, 0.05, False)], starts=1, full=False)
    assert not any(one.told for one in found.found) and not found.all_told
    assert "supply.pressure_mmHg" in found.found[0].why and "record supply_mmHg" in found.found[0].why


def test_a_number_that_nothing_excites_is_not_told():
    """The flow limit of a valve that never reaches it."""
    rig = load_rig("cabinet")
    made = problem("cabinet", recorded(rig, pieces("cabinet", ("sweep",))), ("timing", "valve.slew_mmHg_s"))
    volume = free_of(rig, "cuff.volume_mL")
    found = identify(made, [Held(volume, 2.5, 0.05, False)], starts=1, full=False)
    slew = next(one for one in found.found if one.free.name == "valve.slew_mmHg_s")
    assert not slew.told and "do not tell it" in slew.why


def test_directions_in_words():
    free = [free_of(load_rig("cabinet"), n) for n in ("valve.damping_ratio", "tube.diameter_mm", "cuff.growth_mL")]
    assert in_words(free, np.array([0.6, -1.2, 0.01])) == "valve.damping_ratio^-0.50 · tube.diameter_mm^+1.00"


def test_further_starts_are_tried_where_the_first_does_not_arrive():
    """A second resonance that is not in the model: no start arrives, and two that agree end the search."""
    rig = load_rig("cabinet")
    made = problem("cabinet", recorded(rig, pieces("cabinet", ("click",))), ("timing",))
    bent = made.recordings[0]
    wave = np.sin(np.arange(len(bent.command)) * 0.3)
    bent = bent._replace(channels={"reading_mmHg": bent.channels["reading_mmHg"] + wave})
    solution, agreeing, tried = search(made._replace(recordings=(bent,)), 1, 4, lambda share: None)
    assert agreeing == tried == 2 and abs(np.exp(solution.x[0]) / 1e-3 - 1.0) < 0.02
