"""One piece of a sweep says what `margins`, `check` and `simulate` say of the same rig."""
import math

import numpy as np
import pytest

from experiments.check.check import judge_loops, margin_figures, operating_pressures, run_tracking, tracking_figures
from experiments.check.judged import with_effort
from experiments.design.sweep.axes import own_finger
from experiments.design.sweep.piece import MARGINS, Case, Piece, changed, finger_with, pressure_of, run_piece
from experiments.rigs.rig import load_rig, read_rig
from experiments.simulation.simulate import plan_at_rest, simulate
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.population import sample_fingers
from plant.pneumatics.tube import NoTube
from plant.pressure.record import to_ticks
from plant.pressure.record_check import RawRecord

NOW = load_rig("wrist").controller.kp
NAMES = ("controller.kp", "tube.length_m", "timing.dead_time_s")


def case(pressure, names=NAMES, simulated=False, name="wrist", **more):
    return Case(read_rig(name), names, simulated, pressure, None, 8.0, 0.0, 1)._replace(**more)


def figures(case, row, finger=None):
    answer = run_piece(case, Piece((row,), finger))
    return dict(zip(case.figures, answer.figures[0], strict=True)) | {"reason": answer.reasons[0]}


@pytest.mark.parametrize("row", [(NOW, 0.05, 0.001), (0.004, 0.3, 0.0004), (0.012, 0.1, 0.002)])
def test_margins_are_those_of_check(pressure, row):
    found = figures(case(pressure), row)
    rig = load_rig("wrist", [f"{n}={v!r}" for n, v in zip(NAMES, row, strict=True)])
    expected = margin_figures(with_effort(judge_loops(rig, operating_pressures(pressure)), rig, pressure))
    assert found["stable"] == 1.0 and found["signed_modulus_margin"] == found["modulus_margin"]
    for name, value in expected.items():
        assert found[name] == pytest.approx(value, rel=1e-6), name


def test_tracking_is_that_of_a_run(pressure):
    found = figures(case(pressure, simulated=True), (NOW, 0.05, 0.001))
    expected = tracking_figures(*(lambda run: (run, run_tracking(run)))(
        simulate(load_rig("wrist"), pressure, plan_at_rest(pressure.duration_s))))
    assert found["run_done"] == 1.0
    for name in ("rms_error_mmHg", "peak_error_mmHg", "bias_mmHg", "saturation_share", "cuff_mmHg"):
        assert found[name] == expected[name]
    assert found["beat_systolic_mean_mmHg"] == abs(expected["beat_systolic_error_mmHg"]["mean"])
    assert found["beat_systolic_sd_mmHg"] == expected["beat_systolic_error_mmHg"]["sd"]


def test_an_unstable_loop_is_an_answer(pressure):
    found = figures(case(pressure, simulated=True), (0.2, 0.05, 0.001))
    assert found["stable"] == 0.0 and found["signed_modulus_margin"] < 0.0 and found["run_done"] == 0.0
    assert all(math.isnan(found[name]) for name in MARGINS if name not in ("stable", "signed_modulus_margin"))
    assert found["reason"] == ""


def test_many_controllers_are_as_each_alone(pressure):
    rows = tuple((kp, 0.05, 0.001) for kp in (0.002, NOW, 0.02, 0.05))
    together = run_piece(case(pressure), Piece(rows, None)).figures
    alone = np.concatenate([run_piece(case(pressure), Piece((row,), None)).figures for row in rows])
    np.testing.assert_allclose(together, alone, rtol=1e-6)


def test_what_cannot_be_built_or_clamped_has_a_reason(pressure):
    """One row's slip leaves its neighbours as they are."""
    names = ("controller.kp", "controller.lead_zero_Hz")
    answer = run_piece(case(pressure, names), Piece(((NOW, 133.0), (NOW, 600.0), (NOW, 120.0)), None))
    assert "lead_zero_Hz = 600" in answer.reasons[1] and answer.reasons[0] == answer.reasons[2] == ""
    assert np.all(np.isnan(answer.figures[1])) and not np.any(np.isnan(answer.figures[[0, 2], 0]))
    found = figures(case(pressure, ("supply.pressure_mmHg",)), (100.0,))
    assert math.isnan(found["stable"]) and "supply" in found["reason"]


def test_a_tube_of_no_length_is_none():
    source = changed(read_rig("wrist"), ("tube.length_m",), (0.0,))
    assert isinstance(source.rig().plant.tube, NoTube)


def test_a_kind_goes_before_its_keys():
    names, row = ("valve.range_mmHg", "actuator.kind", "valve.kind"), (250.0, "direct", "pressure")
    assert changed(read_rig("wrist"), names, row).rig().plant.valve.range_mmHg == 250.0


def test_on_a_finger():
    """Its own arteries, light and pressure; what the row says of the finger goes into it."""
    finger = sample_fingers(2)[1]
    row = (NOW, finger.artery.half_width_mmHg * 1.5)
    found = figures(case(None, ("controller.kp", "finger.artery.half_width_mmHg")), row, finger)
    wider = finger_with(finger, ("a.b", "finger.artery.half_width_mmHg"), row)
    assert wider.artery.half_width_mmHg == row[1] and wider.light == finger.light
    rig = on_finger(load_rig("wrist"), wider)
    trace = finger_pressure(wider, 1e-3, 8.0)
    expected = margin_figures(judge_loops(rig, operating_pressures(trace)))
    assert found["phase_margin_deg"] == pytest.approx(expected["phase_margin_deg"], rel=1e-6)


def test_the_rig_s_own_finger_can_be_changed(pressure):
    here = case(pressure, ("finger.fit.transmission",))
    loose, tight = figures(here, (0.8,)), figures(here, (1.0,))
    rig = load_rig("wrist")
    assert tight["phase_margin_deg"] == figures(case(pressure, ()), ())["phase_margin_deg"]
    assert loose["predicted_rms_mmHg"] != tight["predicted_rms_mmHg"]
    assert own_finger(rig).fit.transmission == 1.0


def test_another_tick_gets_its_own_pressure(pressure):
    """A record is resampled from what was read; a synthetic pressure and a finger's are drawn anew."""
    rig = load_rig("wrist", ["timing.period_s=0.0005"])
    time = np.arange(2000) * 0.004
    wave = 95.0 + 20.0 * np.sin(8.0 * time)
    raw = RawRecord(time, wave, np.ones(2000, bool), np.arange(2000), "line", "record", "a test")
    trace = to_ticks(raw, 1e-3, 7.0)
    again = pressure_of(case(trace, raw=raw), None, (), rig)
    assert again.period_s == 0.0005
    np.testing.assert_allclose(again.pressure_mmHg[::2], trace.pressure_mmHg, atol=0.01)
    drawn = pressure_of(case(pressure), None, (), rig)
    assert drawn.period_s == 0.0005 and drawn.duration_s == pytest.approx(pressure.duration_s)
    assert pressure_of(case(pressure), None, (), load_rig("wrist")) is pressure
    assert pressure_of(case(None, ()), sample_fingers(1)[0], (), rig).period_s == 0.0005
