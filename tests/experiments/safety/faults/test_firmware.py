"""Failures of tick, processor, power and settings do what they are said to do."""

import numpy as np
import pytest

from controller.tick.firmware import CLAMP
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.firmware import FIRMWARE
from tests.experiments.safety.faults.fault_bench import bench
from tests.experiments.safety.faults.test_hardware import bare


def test_a_hung_processor_puts_out_its_last_command_for_ever():
    assert len(np.unique(bare("processor_hung")["command"])) == 1 and len(FIRMWARE) >= 13


def test_lost_ticks_repeat_the_command():
    repeated = np.mean(np.diff(bare("ticks_lost")["command"]) == 0.0)
    assert repeated == pytest.approx(0.4, abs=0.05) and np.mean(np.diff(bare("quiet")["command"]) == 0.0) < 0.05


def test_a_late_command_reaches_the_valve_that_much_later():
    for name, age in (("quiet", 1), ("tick_late", 5)):
        found = bare(name)
        assert np.array_equal(found["arriving"][200:400], found["command"][200 - age : 400 - age])


def test_a_reset_forgets_the_set_point_and_starts_slowly():
    found = bare("processor_reset")
    assert np.all(found["command"][:200] == 0.0) and np.any(found["command"][200:] != 0.0)


def test_without_power_nothing_moves():
    found = bare("power_loss")
    assert np.all(found["command"] == 0.0) and np.all(found["arriving"] == 0.0)
    assert found["light"][50] < 0.1


def test_a_brown_out_weakens_the_coil():
    found = bare("brown_out")
    assert found["arriving"][5:50] == pytest.approx(0.7 * found["command"][4:49], abs=1e-12)


@pytest.mark.parametrize(("name", "factor"), [("gains_high", 4.0), ("gains_low", 0.2)])
def test_other_gains(name, factor):
    case = bench().case(0)
    worse = CATALOGUE[name].inject(case, 1.0).firmware.coefficients
    assert worse.proportional == pytest.approx(factor * case.firmware.coefficients.proportional)


def test_a_wrong_sign_runs_away():
    assert np.max(np.abs(bare("sign_error")["error_mmHg"])) > 30.0


def test_calibration_gone_wrong():
    here = bench()
    case = here.case(0)
    for seed, side in ((4, -1.0), (5, 1.0)):  # too full an artery is dark
        off = CATALOGUE["search_interrupted"].inject(case._replace(seed=seed), 1.0).orders
        moved = (off.set_point[0] - case.orders.set_point[0]) / case.orders.light_slope[0]
        assert moved * side < -5.0 and off.light_slope[0] == case.orders.light_slope[0]
    none = CATALOGUE["search_astray"].inject(case, 0.0).orders.set_point[0]
    assert none == pytest.approx(case.orders.set_point[0], abs=0.3 * case.orders.light_slope[0])
    other = CATALOGUE["wrong_finger"].inject(case, 1.0).orders
    assert (other.set_point[-1], other.light_slope[-1]) == here.other_finger
    hasty = CATALOGUE["clamp_too_early"].inject(case, 1.0).orders.mode
    assert np.argmax(hasty == CLAMP) == 2000 < np.argmax(case.orders.mode == CLAMP)
    assert np.array_equal(CATALOGUE["clamp_too_early"].inject(case, 0.0).orders.mode, case.orders.mode)


def test_a_dead_alarm_tells_nobody_but_changes_nothing_else():
    pump, dead = CATALOGUE["supply_high"], CATALOGUE["alarm_dead"]
    told, rows = bench().run(pump, trace=True)
    untold, same = bench().run(pump, dead, trace=True)
    assert told.figures["detected_s"] >= 0.0 > untold.figures["detected_s"] and np.array_equal(rows, same)
    assert untold.acted["supply_range"] == told.acted["supply_range"] >= 0.0


def test_a_stale_display_shows_one_value_of_a_living_pulse():
    found = bare("display_stale")
    assert len(np.unique(found["shown_mmHg"])) == 1 and np.ptp(found["reading_mmHg"]) > 20.0


def test_a_wear_timer_that_works_ends_the_clamp_and_one_that_fails_does_not():
    fault = CATALOGUE["wear_timer_failed"]
    assert fault.to_empty
    ended, _ = bench().run(fault._replace(severity=0.0))
    lasting, _ = bench().run(fault)
    assert ended.figures["lowest_mmHg"] < 15.0 < 40.0 < lasting.figures["lowest_mmHg"]


def test_a_set_point_that_nobody_looks_for_again_stays_while_tone_goes():
    here = bench()
    case = here.case(here.onset_tick)
    found = CATALOGUE["recalibration_missed"].inject(case, 1.0)
    change = found.inputs.tone - case.inputs.tone
    assert found.orders is case.orders and np.all(change[: case.onset_tick] == 0.0) and np.all(np.diff(change) >= 0.0)
    assert change[-1] > 0.1
