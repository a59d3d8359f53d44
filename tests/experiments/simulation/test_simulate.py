"""One run of a rig: its plan, what counts, the set point, and how a run that fails says so."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.rigs.rig import load_rig
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.simulate import Plan, mean_pressure, simulate
from plant.errors import InputError
from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import STEADY, SyntheticPressure, synthesise


def steady(pressure_mmHg, seconds, period_s=1e-3):
    """Constant arterial pressure."""
    count = round(seconds / period_s) + 1
    return PressureTrace(np.full(count, float(pressure_mmHg)), period_s, np.ones(count, bool), "steady", "made here")


def clamped(run):
    """Mean of the last half second before the end."""
    last = slice(-round(0.5 / run.period_s), None)
    return {name: float(np.mean(values[last])) for name, values in run.channels.items()}


def test_the_plan_tick_by_tick(run):
    mode = run.channels["mode"]
    assert len(mode) == 8000 and set(run.channels) == set(CHANNELS)
    assert np.all(mode[:2000] == FILL) and np.all(mode[2000:7500] == CLAMP) and np.all(mode[7500:] == VENT)
    assert (run.status, run.message, run.seed) == ("done", "", 1)
    counted = np.flatnonzero(run.counted)
    assert (counted[0], counted[-1], len(counted)) == (5000, 7499, 2500)
    np.testing.assert_allclose(run.ideal_mmHg, run.channels["arterial_mmHg"] - run.rig.plant.artery.unloaded_mmHg)


def test_it_tracks(run):
    """The job itself: the pulse within a mmHg, the mean still settling with the wall's creep; vented at the end."""
    error = (run.channels["cuff_mmHg"] - run.ideal_mmHg)[run.counted]
    assert np.std(error) < 1.5 and abs(np.mean(error)) < 3.0
    assert run.channels["cuff_mmHg"][-1] < 0.5 * run.channels["cuff_mmHg"][7400]


def test_bridged_ticks_do_not_count(wrist, pressure):
    usable = pressure.usable.copy()
    usable[6000:6500] = False
    found = simulate(wrist, pressure._replace(usable=usable))
    assert np.count_nonzero(found.counted) == 2500 and not np.any(found.counted[6000:6500])
    assert mean_pressure(pressure._replace(usable=usable)) != mean_pressure(pressure)


@given(st.floats(-10, 20))
@settings(max_examples=4, deadline=None)
def test_an_offset_moves_the_cuff_by_as_much(offset):
    """Held at p0 + offset of transmural pressure, the cuff reads that much less (at rest, once it has settled)."""
    rig = load_rig("wrist", ["artery.creep_time_s=0.05", "vein.emptying_s=0.05", "vein.filling_s=0.05"])
    end = clamped(simulate(rig, steady(95.0, 6.0), Plan(1.0, 1.0, offset_mmHg=offset)))
    assert end["cuff_mmHg"] == pytest.approx(90.0 - offset, abs=0.3)


@given(st.floats(-0.3, 0.3))
@settings(max_examples=4, deadline=None)
def test_a_volume_error_holds_that_much_more(error):
    """The arterial area settles at the unloaded one times 1 + error."""
    rig = load_rig("wrist", ["artery.creep_time_s=0.05", "vein.emptying_s=0.05", "vein.filling_s=0.05"])
    end = clamped(simulate(rig, steady(95.0, 6.0), Plan(1.0, 1.0, set_point_error=error)))
    unloaded = rig.plant.artery.collapse_ratio / (1.0 + rig.plant.artery.collapse_ratio)  # of the largest
    assert end["area"] == pytest.approx(unloaded * (1.0 + error), abs=0.01)


def test_the_ideal_follows_tone(wrist):
    """Tone moves p0, and the ideal cuff pressure with it."""
    rig = load_rig("wrist", ["tone.level=1.0"])
    found = simulate(rig, steady(95.0, 6.0))
    artery = rig.plant.artery
    np.testing.assert_allclose(found.ideal_mmHg, 95.0 - artery.unloaded_mmHg - artery.tone_shift_mmHg)


def test_same_seed_same_run(wrist, pressure, run):
    """Bit for bit, whether or not somebody watches the progress."""
    seen = []
    again = simulate(wrist, pressure, Plan(vent_s=0.5), progress=seen.append)
    other = simulate(wrist, pressure, Plan(vent_s=0.5), seed=2)
    assert all(np.array_equal(again.channels[name], run.channels[name]) for name in CHANNELS)
    assert not np.array_equal(other.channels["light"], run.channels["light"])
    assert seen[-1] == 1.0 and seen == sorted(seen)


def test_progress_comes_block_by_block(wrist, monkeypatch):
    monkeypatch.setattr("experiments.simulation.simulate.BLOCK", 1500)
    seen = []
    simulate(wrist, steady(95.0, 6.0), progress=seen.append)
    assert seen == [0.25, 0.5, 0.75, 1.0]


@pytest.mark.parametrize(("plan", "seconds", "says"), [
    (Plan(), 5.0, "5 s is too short for 2 s of filling, 3 s of settling and 0 s of venting"),
    (Plan(vent_s=4.0), 8.0, "8 s is too short for 2 s of filling, 3 s of settling and 4 s of venting"),
    (Plan(set_point_error=1.7), 8.0, "set-point error 1.7"),
    (Plan(offset_mmHg=200.0), 8.0, "no clamp at 95 mmHg"),
])
def test_plans_that_cannot_be(wrist, plan, seconds, says):
    with pytest.raises(InputError, match=says):
        simulate(wrist, steady(95.0, seconds), plan)


def test_a_trace_on_another_tick(wrist):
    with pytest.raises(InputError, match=r"a tick of 0\.002 s and the rig one of 0\.001 s"):
        simulate(wrist, steady(95.0, 8.0, 2e-3))


def test_a_run_that_diverges_is_a_value():
    """Too wide a valve filled too hard: it says when, in which mode, how far, and what to try; figures stay finite."""
    rig = load_rig("wrist", ["supply.pressure_mmHg=3000.0", "supply.stall_mmHg=5000.0", "supply.volume_mL=100000.0",
                             "valve.conductance=1.0", "filling.feedforward_per_mmHg=1.0", "cuff.volume_mL=0.5"])
    found = simulate(rig, steady(95.0, 6.0))
    assert found.status == "diverged" and len(found.channels["mode"]) < 1000
    assert found.message.startswith("the run diverged at 0.0")
    assert "in mode fill: cuff pressure went to" in found.message
    assert "lower controller.kp, filling.gain_per_mmHg, valve.conductance" in found.message
    assert all(np.all(np.isfinite(values)) for values in found.channels.values())


def test_too_few_steps_diverge_rather_than_end_in_nan():
    """A spool of 1 kHz at one step a tick is beyond what Runge–Kutta follows (2π > 2.8)."""
    rig = load_rig("wrist", ["valve.natural_frequency_Hz=1000.0", "valve.slew_per_s=1000000.0"])
    found = simulate(rig, steady(95.0, 6.0), substeps=1)
    assert found.status == "diverged" and found.message.startswith("the run diverged at")
    assert np.all(np.isfinite(found.channels["cuff_mmHg"]))
    assert simulate(rig, steady(95.0, 6.0)).status == "done"


@pytest.mark.parametrize(("changes", "says"), [
    (["controller.kp=1.0"], "swinging between both ends of its range: lower controller.kp"),
    (["controller.output_high=0.03"], "at controller.output_high: the valve cannot give more"),
    (["controller.output_low=0.0"], "at controller.output_low: the valve cannot take more"),
    (["controller.slew_per_s=1.0"], "at its slew limit: raise controller.slew_per_s"),
])
def test_a_clamp_that_does_not_hold_says_so(changes, says):
    trace = synthesise(STEADY._replace(systolic_mmHg=150.0, rate_per_min=120.0), 1e-3, 8.0, 1)
    found = simulate(load_rig("wrist", changes), trace)
    assert found.status == "saturated" and says in found.message
    assert found.message.startswith("the clamp does not hold: the command is at a limit for ")
    assert "first at 2." in found.message


def test_a_slower_tick(wrist):
    """Everything scales with the tick: the same seconds of filling and settling at 2 ms."""
    rig = load_rig("wrist", ["timing.period_s=0.002", "timing.dead_time_s=0.0", "controller.kp=0.003",
                             "controller.lead_zero_Hz=0.0", "controller.lead_pole_Hz=0.0"])
    found = simulate(rig, synthesise(SyntheticPressure(), 2e-3, 8.0, 1))
    assert len(found.channels["mode"]) == 4000 and np.flatnonzero(found.counted)[0] == 2500
    assert np.count_nonzero(found.channels["mode"] == FILL) == 1000
