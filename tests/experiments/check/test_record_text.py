"""What is said of a record: one line when it is sound, a warning for what does not count and for a narrow band."""
import numpy as np

from experiments.check.record_text import record_json, record_lines
from plant.pressure.record import to_ticks
from plant.pressure.record_check import RawRecord
from plant.pressure.synthetic import SyntheticPressure, synthesise


def trace(change=lambda values: values, every=1):
    """A minute at 250 Hz as a record, with a transducer's noise, changed, and thinned."""
    values = synthesise(SyntheticPressure(), 0.004, 60.0, 1).pressure_mmHg
    values = change(values + 0.05 * np.random.default_rng(1).standard_normal(len(values)))[::every]
    number = np.arange(len(values))
    good = np.ones(len(values), bool)
    return to_ticks(RawRecord(number * 0.004 * every, values, good, number, "sample", "made", "made up"), 1e-3)


def test_a_sound_record_takes_one_line():
    (line,) = record_lines(trace())
    assert line.startswith("record made: 60.0 s, ") and " beats at 7" in line and "usable 100.0 %" in line
    assert line.endswith("; nothing clipped, frozen, flushed, open, shaken, stepped or without a pulse")


def test_faults_are_told_with_their_times():
    def knocked(values):
        values[5_000:5_150] = values[5_000]
        values[10_000:] += 30.0
        return values

    lines = record_lines(trace(knocked))
    assert "frozen 0.6 s" in lines[0] and "1 step" in lines[0]
    assert any(line.startswith("WARNING: not counted: ") and "from 20.0 to 20.6 s" in line for line in lines)
    assert any(line.startswith("WARNING: counted, but the level jumps: step of +") for line in lines)


def test_a_narrow_band_is_a_warning():
    lines = record_lines(trace(every=10))
    assert "band 12 Hz (half its sampling rate)" in lines[0]
    assert lines[-1].startswith("WARNING: band 12 Hz") and lines[-1].endswith("below 20 Hz no rig passes")


def test_made_up_pressure_is_not_judged():
    made_up = synthesise(SyntheticPressure(), 1e-3, 5.0, 1)
    assert record_lines(made_up) == ["record synthetic: made up here, not judged"]
    assert record_json(made_up)["record"]["quality"] is None
    assert record_json(trace())["record"]["quality"]["beats"] > 60
