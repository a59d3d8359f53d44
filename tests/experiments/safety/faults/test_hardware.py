"""Failures of the hardware do to pressures what they are said to do, with all protection taken away."""

import numpy as np
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.hardware import HARDWARE, no_speed, no_tube, no_vent_side
from experiments.simulation.protected import FAULT_CHANNELS
from plant.parts import line_end_volume
from plant.pneumatics.cuff import content_at_rest
from plant.pneumatics.tube import tube_inertance, tube_resistance
from tests.experiments.safety.faults.fault_bench import bench

COLUMN = {name: i for i, name in enumerate(FAULT_CHANNELS)}


def bare(name, rig="wrist", severity=1.0):
    """Channels of a failure without any protection."""
    _, rows = bench(rig).run(CATALOGUE[name]._replace(severity=severity), lost=PROTECTIONS, trace=True)
    return {channel: rows[:, i] for channel, i in COLUMN.items()}


def test_which_rig_can_have_what():
    assert not no_tube(load_rig("wrist")) and no_tube(load_rig("wrist", ["tube.kind=none"])) == "it has no tube"
    assert not no_vent_side(load_rig("wrist")) and "venting side" in no_vent_side(load_rig("cabinet"))
    assert not no_speed(load_rig("wrist")) and not no_speed(load_rig("cabinet"))
    assert len(HARDWARE) >= 15


def test_a_valve_stuck_open_brings_the_supplys_pressure_to_the_finger():
    """Without protection the cuff ends within a few percent of the reservoir: what protection is there for."""
    found = bare("valve_stuck_open")
    assert found["cuff_mmHg"][-1] == pytest.approx(found["supply_mmHg"][-1], rel=0.05)
    assert found["cuff_mmHg"][-1] > 450.0
    assert bare("valve_stuck_open", "cabinet")["cuff_mmHg"][-1] == pytest.approx(300.0, rel=0.02)


@pytest.mark.parametrize("name", ["valve_stuck_venting", "tube_disconnected", "bladder_burst"])
def test_an_open_cuff_empties(name):
    assert bare(name)["cuff_mmHg"][200] < 20.0


def test_an_empty_supply_cannot_fill():
    found = bare("supply_empty")
    assert found["cuff_mmHg"][-1] < 40.0 and np.max(found["supply_mmHg"]) < 40.0


def test_a_pump_that_runs_on_and_one_that_stands_still():
    on, off = bare("pump_stuck_on")["supply_mmHg"], bare("pump_stopped")["supply_mmHg"]
    assert on[-1] > on[0] + 100.0 and off[-1] < off[0] - 15.0 and np.all(np.diff(off) < 1e-9)


def test_a_kink_parts_the_cuff_from_the_valve():
    """Cuff pressure no longer knows of the valve's end: only the cuff's own leak is left, isothermal."""
    found = bare("tube_kinked")
    assert abs(found["node_mmHg"][1000] - found["cuff_mmHg"][1000]) > 100.0
    slope = -np.polyfit(np.arange(1000) * 1e-3, np.log(found["cuff_mmHg"][1000:2000]), 1)[0]
    assert slope == pytest.approx(750.0 * 1e-4 / 2.8, rel=0.25)


@pytest.mark.parametrize("changes", [(), ("tube.diameter_mm=0.5",)])
def test_narrowing_twice_stays_within_the_steps(changes):
    """Water in a kinked tube, or a kink in a thin one: resistance over inertance has a ceiling, so runs stay stable."""
    rig = load_rig("wrist", list(changes))
    case = bench().case(0)._replace(rig=rig, plant=rig.plant)
    worse = CATALOGUE["tube_wet"].inject(CATALOGUE["tube_kinked"].inject(case, 1.0), 1.0).plant.tube
    pole, before = (tube_resistance(t) / tube_inertance(t) for t in (worse, rig.plant.tube))
    assert pole <= max(5000.0, before) * 1.0001


def test_a_wet_tube_that_slips_off_does_not_run_away():
    outcome, _ = bench().run(CATALOGUE["tube_disconnected"], CATALOGUE["tube_wet"])
    assert not outcome.diverged and outcome.figures["highest_mmHg"] < 330.0


def test_a_leak_is_fed_and_the_clamp_goes_on():
    found = bare("bladder_leak")
    assert np.mean(found["command"][500:]) > np.mean(bare("quiet")["command"][500:]) + 0.02
    assert np.max(np.abs(found["error_mmHg"][-500:])) < 5.0


def test_a_reversed_valve_runs_away():
    assert np.max(np.abs(bare("valve_reversed")["error_mmHg"])) > 40.0


def test_fit_changes_bladder_and_coupling():
    here = bench()
    case = here.case(0)
    for name, size, coupling in (("bladder_wrong_size", 2.5, 0.9), ("bladder_loose", 2.0, 0.65)):
        worse = CATALOGUE[name].inject(case, 1.0).plant
        assert worse.cuff.volume_mL == pytest.approx(size * case.plant.cuff.volume_mL)
        assert worse.tissue.transmission == pytest.approx(coupling * case.plant.tissue.transmission)


def test_a_blocked_exhaust_lets_nothing_out():
    """A flow valve gets no command to vent; a pressure-type one cannot lower its outlet."""
    assert np.min(bare("quiet")["arriving"]) < -0.01 <= np.min(bare("vent_blocked")["arriving"]) == 0.0
    assert np.min(np.diff(bare("vent_blocked", "cabinet")["arriving"])) == 0.0
    assert np.min(bare("vent_blocked", severity=0.5)["arriving"]) >= -0.5


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
@pytest.mark.parametrize("name", ["relief_opens", "dump_opens"])
def test_a_way_out_that_opens_unasked_empties_the_cuff_or_is_noticed(rig, name):
    outcome, _ = bench(rig).run(CATALOGUE[name])
    assert 0.0 <= outcome.figures["detected_s"] < 0.5 and outcome.figures["lowest_mmHg"] < 15.0


def test_a_stuck_change_over_keeps_its_cuff_full():
    found = bare("changeover_stuck")
    assert found["node_mmHg"][-1] < 5.0 and found["cuff_mmHg"][-1] > 50.0 and set(found["mode"]) == {2.0}


def test_a_second_cuff_at_the_same_pressure_is_twice_the_air():
    here = bench()
    case = here.case(here.onset_tick)
    both = CATALOGUE["both_cuffs_full"].inject(case, 1.0)
    assert both.plant.cuff.volume_mL == 2.0 * case.plant.cuff.volume_mL
    end = float(line_end_volume(case.plant.tube))
    content = content_at_rest(both.plant.cuff, both.plant.air, case.state.cuff_mmHg, end)
    assert both.state.cuff_mL == pytest.approx(content)
    assert both.state.cuff_mmHg == case.state.cuff_mmHg
    found = bare("both_cuffs_full")
    assert abs(found["cuff_mmHg"][1] - found["cuff_mmHg"][0]) < 3.0 and np.min(found["cuff_mmHg"]) > 40.0
