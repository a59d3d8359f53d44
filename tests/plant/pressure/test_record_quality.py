"""What is said of a record, what makes it unfit, and what of it does not count."""
import math

import numpy as np
import pytest

from plant.errors import InputError
from plant.pressure.record import load_record, to_ticks
from plant.pressure.record_check import RawRecord, check_record
from plant.pressure.record_quality import record_quality, refuse_unfit
from plant.pressure.synthetic import SyntheticPressure, synthesise

STEP_s = 0.008


def pulse(seconds=60.0):
    return synthesise(SyntheticPressure(), STEP_s, seconds, 1).pressure_mmHg.copy()


def judged(values, start_s=0.0):
    return record_quality(values, np.ones(len(values), bool), STEP_s, start_s)


def faulty(start_s, end_s, level):
    values = pulse()
    values[round(start_s / STEP_s) : round(end_s / STEP_s)] = level
    return values


def record(values):
    number = np.arange(len(values))
    good = np.ones(len(values), bool)
    return check_record(RawRecord(number * STEP_s, values, good, number, "sample", "made", "made"))


def test_a_clean_record_is_usable_throughout():
    quality, at_fault = judged(pulse())
    assert quality.findings == () and quality.reasons == [] and not np.any(at_fault)
    assert quality.usable_share == 1.0 and quality.clean_s == (0.0, pytest.approx(60.0, abs=0.02))
    assert quality.beats == pytest.approx(quality.rate_per_min, abs=3)  # of a minute
    refuse_unfit(quality, "made")


def test_faults_do_not_count_and_carry_the_times_of_the_record():
    quality, at_fault = judged(faulty(20.0, 23.0, 285.0), start_s=100.0)
    (found,) = quality.findings
    assert (found.kind, found.unfit) == ("flush", True)
    assert (found.start_s, found.end_s) == (pytest.approx(120.0, abs=0.02), pytest.approx(123.0, abs=0.02))
    assert np.all(at_fault[round(19.81 / STEP_s) : round(23.19 / STEP_s)]) and at_fault.mean() < 0.06
    assert quality.clean_s[0] == pytest.approx(123.2, abs=0.02)
    assert quality.total_s("flush") == pytest.approx(3.0, abs=0.02)


def test_refusal_is_one_line_with_time_and_a_way_out():
    quality, _ = judged(faulty(20.0, 23.0, 1.0))
    words = (r"^made: the record is at fault.*open to air \(at 1 mmHg\) from 20\.0 to 23\.0 s; "
             r"without a fault: --start 23\.2 --seconds 36\.\d$")
    with pytest.raises(InputError, match=words) as told:
        refuse_unfit(quality, "made")
    assert "\n" not in str(told.value)


def test_many_faults_are_cut_short():
    values = pulse()
    for start in range(5, 55, 8):
        values[round(start / STEP_s) : round((start + 1) / STEP_s)] = 285.0
    with pytest.raises(InputError, match=r"and 3 more; no part of it is long enough"):
        refuse_unfit(judged(values)[0], "made")


def test_a_short_freeze_is_told_a_long_one_refused():
    for length, unfit in ((0.7, False), (3.0, True)):
        values = pulse()
        first = round(30.0 / STEP_s)
        values[first : first + round(length / STEP_s)] = values[first]
        quality, _ = judged(values)
        assert [(f.kind, f.unfit) for f in quality.findings] == [("frozen", unfit)]


def test_clipping_is_one_finding_at_a_level():
    values = pulse()
    quality, _ = judged(np.minimum(values, np.percentile(values, 80.0)))
    (found,) = quality.findings
    assert found.kind == "clipped" and found.unfit and quality.clipped_share == pytest.approx(0.2, abs=0.03)


def test_no_pulse_at_all():
    values = 80.0 + 0.02 * (pulse() - 80.0)
    with pytest.raises(InputError, match="no pulse of 8 mmHg in it"):
        refuse_unfit(judged(values)[0], "made")


def test_json_has_numbers_only():
    told = judged(faulty(20.0, 23.0, 285.0))[0].as_dict()
    assert told["flush_s"] == pytest.approx(3.0, abs=0.02) and told["findings"][0]["kind"] == "flush"
    assert judged(np.full(2000, 80.0))[0].as_dict()["rate_per_min"] is None
    assert all(not isinstance(v, float) or math.isfinite(v) for v in told.values())


def test_ticks_at_fault_are_not_usable():
    trace = to_ticks(record(faulty(20.0, 23.0, 285.0)), 1e-3)
    assert trace.quality is not None and trace.quality.total_s("flush") > 2.9
    assert not np.any(trace.usable[19_850:23_150]) and np.all(trace.usable[:19_700]) and np.all(trace.usable[23_300:])


def test_times_count_from_the_start_of_the_record(tmp_path):
    values = faulty(20.0, 23.0, 285.0)
    path = tmp_path / "record.csv"
    np.savetxt(path, np.column_stack([np.arange(len(values)) * STEP_s, values]), delimiter=",", comments="",
               header="time_s,pressure_mmHg", fmt="%.6f")
    part = load_record(path, 1e-3, 20.0, 10.0)
    assert part.quality is not None and part.quality.findings[0].start_s == pytest.approx(20.0, abs=0.02)
    clean = load_record(path, 1e-3, 30.0, 24.0)
    assert clean.quality is not None and clean.quality.findings == ()
