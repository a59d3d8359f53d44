"""The check: loops at the record's own pressures, worst figures, tracking, verdict."""
import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.check.check import (
    calibration_figures,
    check,
    judge_loops,
    judge_record,
    margin_figures,
    operating_pressures,
    run_tracking,
    tracking_figures,
    unstable_poles,
    worst_of,
)
from experiments.rigs.requirements import FIGURES
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Plan, simulate
from plant.errors import InputError
from plant.pressure.record_quality import record_quality
from plant.pressure.synthetic import SyntheticPressure, synthesise


@pytest.fixture(scope="module")
def unstable():
    """Loops of the wrist rig with ten times its gain."""
    rig = load_rig("wrist")
    return judge_loops(rig._replace(controller=rig.controller._replace(kp=10 * rig.controller.kp)), {"here": 95.0})


def test_pressures_are_the_records_own(pressure):
    found = operating_pressures(pressure)
    values = pressure.pressure_mmHg
    assert found["low"] < found["mean"] < found["high"]
    assert found["mean"] == pytest.approx(float(np.mean(values)))
    assert np.mean(values < found["low"]) == pytest.approx(0.05, abs=2e-3)
    assert np.mean(values > found["high"]) == pytest.approx(0.05, abs=2e-3)
    unusable = pressure._replace(usable=values < 90.0)
    assert operating_pressures(unusable)["high"] < 90.0


def test_both_sides_at_every_pressure(checked):
    names = [j.name for j in checked.loops]
    assert names == [f"{point}, {side}" for point in ("mean", "low", "high") for side in ("fill", "vent")]
    assert checked.worst in checked.loops
    assert all(j.loop.coefficients == checked.run.coefficients for j in checked.loops)  # the very controller that ran


def test_the_error_is_normalised_once(checked):
    """As a firmware that was calibrated at the first pressure: one slope for all loops, that of the run's own kind."""
    assert len({j.loop.light_slope for j in checked.loops}) == 1
    found = checked.calibration.found
    assert found is not None and checked.loops[0].loop.light_slope == found.light_slope
    assert found.light_slope == pytest.approx(checked.loops[0].loop.point.light_slope, rel=0.05)


def test_the_worst_decides(checked, unstable):
    least = min(j.margins.modulus_margin for j in checked.loops)
    assert checked.worst.margins.modulus_margin == least
    assert worst_of([*checked.loops, *unstable]) in unstable
    figures = margin_figures(checked.loops)
    assert set(figures) <= set(FIGURES)
    assert figures["modulus_margin"] <= least and figures["sensitivity_peak"] == pytest.approx(
        1.0 / figures["modulus_margin"])
    every = [m for j in checked.loops for m in (j.margins, *j.spread)]  # over the search's slope error too
    assert len(every) == 4 * len(checked.loops)
    assert figures["gain_margin_dB"] == pytest.approx(20 * math.log10(min(m.gain_margin for m in every)))
    assert figures["phase_margin_deg"] == min(m.phase_margin_deg for m in every)


def test_an_unstable_loop_has_no_margins(unstable):
    assert all(math.isnan(value) for value in margin_figures(unstable).values())
    for judged in unstable:
        poles = unstable_poles(judged)
        assert len(poles) == judged.margins.unstable_closed_loop_poles > 0 and all(abs(p) > 1.0 for p in poles)


def test_a_loop_that_could_not_be_followed_has_none_either(checked):
    from dataclasses import replace

    judged = [replace(j, margins=replace(j.margins, resolved=False), effort=None) for j in checked.loops]
    assert all(math.isnan(value) for value in margin_figures(judged).values())


def test_stable_loops_have_no_unstable_poles(checked):
    assert all(unstable_poles(j) == [] for j in checked.loops)


def test_the_budget_adds_up(checked):
    """Its rows sum to the phase of the worst loop at its crossover: margin less 180°."""
    total = sum(row.phase_deg for row in checked.budget)
    assert (total + 180.0 - checked.worst.margins.phase_margin_deg) % 360.0 == pytest.approx(0.0, abs=0.01) or (
        total + 180.0 - checked.worst.margins.phase_margin_deg) % 360.0 == pytest.approx(360.0, abs=0.01)


def test_tracking_under_the_names_of_requirements(checked):
    figures = tracking_figures(checked.run, checked.tracking)
    named = set(figures) | set(margin_figures(checked.loops)) | set(calibration_figures(checked.calibration))
    assert named == set(FIGURES)
    assert figures["cuff_mmHg"] == np.max(checked.run.channels["cuff_mmHg"])
    assert figures["bias_mmHg"] == abs(checked.tracking.ideal.bias_mmHg)
    error = (checked.run.channels["cuff_mmHg"] - checked.run.ideal_mmHg)[checked.run.counted]
    systolic, pulse = checked.tracking.ideal_beats.systolic, checked.tracking.pulse_mmHg
    assert 20.0 < pulse < 90.0 and figures["beat_systolic_error_percent"] == pytest.approx(
        {"mean": 100.0 * systolic.mean_mmHg / pulse, "sd": 100.0 * systolic.sd_mmHg / pulse})
    assert figures["rms_error_mmHg"] == pytest.approx(float(np.sqrt(np.mean(error**2))))


def test_too_little_to_judge(wrist, pressure):
    """Under two seconds of settled clamp there are no tracking figures, only the highest pressure."""
    short = simulate(wrist, pressure, Plan(vent_s=1.5))
    assert run_tracking(short) is None
    assert set(tracking_figures(short, None)) == {"cuff_mmHg"}


def test_pass_and_fail(wrist, checked):
    """It passes when every limit is kept; a limit beyond what was found fails it; so does a clamp that is lost."""
    modulus, pressure = checked.worst.margins.modulus_margin, checked.run.trace
    kept = check(wrist, pressure, {"modulus_margin": {"min": 0.9 * modulus}})
    missed = check(wrist, pressure, {"modulus_margin": {"min": 1.1 * modulus}})
    assert kept.passed and not missed.passed
    assert [v.passed for v in kept.verdicts + missed.verdicts] == [True, False]
    lost = check(load_rig("wrist", ["controller.kp=1.0"]), pressure, {"cuff_mmHg": {"max": 1e6}})
    assert all(v.passed for v in lost.verdicts) and lost.run.status == "saturated" and not lost.passed


def test_three_beats_are_no_verdict(wrist, pressure):
    with pytest.raises(InputError, match=r"^synthetic: 3 whole beats count after 5 s .* a verdict needs 10: "):
        check(wrist, pressure, {})
    judge_record(synthesise(SyntheticPressure(), 1e-3, 14.0, 1))


def test_beats_at_fault_are_not_among_the_ten(checked):
    trace = checked.run.trace
    usable = trace.usable.copy()
    usable[6_000:11_000] = False
    with pytest.raises(InputError, match=r"^synthetic: [0-9] whole beats"):
        judge_record(trace._replace(usable=usable))


def test_what_keeps_its_limits_on_a_narrow_record_does_not_pass(checked):
    sound = replace(checked, verdicts=[])
    quality, _ = record_quality(checked.run.trace.pressure_mmHg[::40], np.ones(351, bool), 0.04)
    assert quality.narrow and sound.passed
    narrow = replace(sound, run=replace(sound.run, trace=sound.run.trace._replace(quality=quality)))
    assert narrow.kept and narrow.narrow and not narrow.passed
