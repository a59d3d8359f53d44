import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.pressure.record_check import RawRecord, check_record, part_of, printed_step, shown


def record(rate=125.0, seconds=10.0, pressure=None, time=None, good=None):
    time = np.arange(round(rate * seconds) + 1) / rate if time is None else np.asarray(time, float)
    pressure = 90 + 20 * np.sin(2 * np.pi * 1.2 * time) if pressure is None else np.asarray(pressure, float)
    good = np.ones(len(time), bool) if good is None else good
    return RawRecord(time, pressure, good, np.arange(2, len(time) + 2), "line", "a.csv", "test")


def refusal(wrong):
    with pytest.raises(InputError) as caught:
        check_record(wrong)
    message = str(caught.value)
    assert "\n" not in message and message.startswith("a.csv: ")
    return message


def test_a_sound_record_passes_unchanged():
    sound = record()
    assert check_record(sound) is sound


@given(st.floats(50, 200), st.floats(10, 60), st.floats(0.6, 3.5))
@settings(max_examples=40, deadline=None)
def test_every_plausible_pressure_passes_in_mmHg_and_is_called_out_in_kPa_and_Pa(mean, pulse, beat_Hz):
    time = np.arange(1001) / 100.0
    pressure = mean + 0.5 * min(pulse, mean) * np.sin(2 * np.pi * beat_Hz * time)
    check_record(record(time=time, pressure=pressure))
    if mean < 180:
        assert "kPa" in refusal(record(time=time, pressure=pressure * 0.133322))
    assert "Pa, not mmHg (divide by 133.322)" in refusal(record(time=time, pressure=pressure * 133.322))
    if mean < 190:
        assert "too small" in refusal(record(time=time, pressure=pressure / 100.0))


@pytest.mark.parametrize("value", [-50.1, 400.1, 1e9, -1e300])
def test_a_value_out_of_range_is_named_with_its_line(value):
    pressure = 90 + 20 * np.sin(np.arange(1001) / 10)
    pressure[700] = value
    message = refusal(record(time=np.arange(1001) / 100, pressure=pressure))
    assert "line 702" in message and f"{value:.6g}" in message and "-50 … 400 mmHg" in message


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_number_that_is_none(value):
    sound = record()
    broken = sound.pressure_mmHg.copy()
    broken[17] = value
    message = refusal(sound._replace(pressure_mmHg=broken))
    assert "line 19" in message and f"{value:g}" in message
    flagged = np.ones(len(broken), bool)
    flagged[17] = False
    check_record(sound._replace(pressure_mmHg=broken, good=flagged))  # flagged: nobody uses it
    times = sound.time_s.copy()
    times[17] = value
    assert "time_s" in refusal(sound._replace(time_s=times, good=flagged))


def test_time_that_repeats_or_runs_back():
    time = np.arange(1001) / 100
    time[40] = time[39]
    assert "line 42: time_s repeats 0.39" in refusal(record(time=time))
    time = np.arange(1001) / 100
    time[[40, 60]] = time[[60, 40]]
    assert "line 43: time_s runs back to 0.41 s after 0.6 s" in refusal(record(time=time))


@given(st.integers(2, 900), st.integers(1, 90))
@settings(max_examples=40, deadline=None)
def test_a_hole_in_time_is_a_gap_where_it_is(first, width):
    time = np.delete(np.arange(1001) / 100, np.arange(first, first + width))
    message = refusal(record(time=time))
    assert f"line {first + 2}: gap of" in message and f"time_s = {(first - 1) / 100:g}" in message


def test_intervals_much_shorter_than_the_rest():
    time = np.insert(np.arange(1001) / 100, 501, 5.002)
    assert "uneven" in refusal(record(time=time))


@pytest.mark.parametrize("decimals", [3, 4, 6])
@pytest.mark.parametrize("rate", [124.945, 60.0, 250.0, 62.4725])
def test_times_rounded_when_printed_are_no_gap(decimals, rate):
    check_record(record(time=np.round(np.arange(2000) / rate, decimals)))


def test_too_slow_too_short_too_few():
    assert "10 Hz" in refusal(record(rate=10.0)) and "20 Hz" in refusal(record(rate=10.0))
    assert "milliseconds" in refusal(record(time=np.arange(2000.0) * 4))
    assert "at least 2 s" in refusal(record(seconds=1.0))
    assert "1 samples" in refusal(record(time=[0.0], pressure=[80.0]))
    good = np.zeros(1251, bool)
    good[:100] = True
    assert "usable samples" in refusal(record(good=good))


def test_how_finely_times_were_printed():
    assert printed_step(np.array([0.0, 0.008, 0.016])) == 1e-3
    assert printed_step(np.array([5.0, 6.0])) == 1.0
    assert printed_step(np.arange(9) / 124.945) == 0.0


def test_shown_fits_on_a_line():
    assert shown("a\nb\x00c") == "a\\nb\\x00c"
    assert shown("x" * 99) == "x" * 39 + "…"


def test_what_lies_hours_away_is_left_out():
    time = np.arange(576_000) / 25.0  # over six hours
    pressure = 80.0 + 20.0 * np.sin(time)
    pressure[200_000] = 9999.0
    whole = RawRecord(time, pressure, np.ones(len(time), bool), np.arange(len(time)), "line", "far", "made up")
    with pytest.raises(InputError, match="line 200000: pressure_mmHg = 9999"):
        check_record(whole)
    part = check_record(part_of(whole, 3600.0, 60.0))
    assert part.time_s[0] == pytest.approx(3599.0) and part.time_s[-1] == pytest.approx(3661.0)
    assert part.skipped_s == pytest.approx(3599.0)
    with pytest.raises(InputError, match="9999"):
        check_record(part_of(whole, 7_990.0, 60.0))


def test_a_part_that_is_not_there_is_the_whole_record():
    time = np.arange(0.0, 60.0, 0.1)
    whole = RawRecord(time, 80.0 + time, np.ones(len(time), bool), np.arange(len(time)), "line", "near", "made up")
    for start_s, seconds in ((0.0, None), (0.0, 60.0), (70.0, 5.0), (50.0, 20.0), (-1.0, 5.0), (np.nan, 5.0)):
        assert part_of(whole, start_s, seconds) is whole


def test_times_printed_to_a_hundredth_may_alternate():
    """60 a second are 0.01 and 0.02 s by turns then: half the median, and still even."""
    check_record(record(time=np.round(np.arange(2000) / 60.0, 2)))
