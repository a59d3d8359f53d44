import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.pressure import record as pressure_record
from plant.pressure.record import load_record, pig_available, pig_file, to_ticks
from plant.pressure.record_check import RawRecord

needs_pig = pytest.mark.skipif(not pig_available(), reason="the package aeon, which has the record, is not installed")


def shape(time):
    turn = 2 * np.pi * time
    return 90 + 20 * np.sin(1.3 * turn) + 6 * np.sin(5.2 * turn) + 2 * np.sin(13 * turn)


def record(rate, seconds=12.0, time=None, good=None):
    time = np.arange(round(rate * seconds) + 1) / rate if time is None else time
    good = np.ones(len(time), bool) if good is None else good
    return RawRecord(time, shape(time), good, np.arange(len(time)), "line", "a.csv", "test")


@pytest.mark.parametrize("rate", [62.4725, 100.0, 124.945, 250.0, 999.7, 2000.0, 4999.0])
@pytest.mark.parametrize("period", [1e-3, 0.5e-3, 4e-3])
def test_any_rate_to_any_tick(rate, period):
    """Content below both band edges arrives unchanged on the tick grid."""
    trace = to_ticks(record(rate), period)
    time = np.arange(len(trace.pressure_mmHg)) * period
    inner = (time > 0.5) & (time < 11.0)
    assert np.max(np.abs(trace.pressure_mmHg - shape(time))[inner]) < 0.02
    assert trace.duration_s == pytest.approx(12.0, abs=1.0 / rate + period)


def test_a_faster_record_is_filtered_before_it_is_thinned():
    time = np.arange(12_001) / 1000.0
    hum = record(1000.0)._replace(pressure_mmHg=90 + 5 * np.sin(2 * np.pi * 190 * time))  # would fold to 10 Hz
    trace = to_ticks(hum, 5e-3)
    assert np.max(np.abs(trace.pressure_mmHg[100:-100] - 90)) < 0.01


def test_times_printed_with_three_decimals_do_not_shake_the_pressure():
    exact = np.arange(1500) / 124.945
    trace = to_ticks(record(0, time=exact)._replace(time_s=np.round(exact, 3)), 1e-3)
    time = np.arange(len(trace.pressure_mmHg)) * 1e-3
    assert np.max(np.abs(trace.pressure_mmHg - shape(time))[500:-500]) < 0.04  # 0.5 ms of jitter would cost 0.2


def test_a_clock_that_drifts_is_followed():
    even = np.arange(3000) / 250.0
    drifting = even + 0.02 * np.sin(2 * np.pi * even / 12.0)
    trace = to_ticks(record(0, time=drifting), 1e-3)
    time = np.arange(len(trace.pressure_mmHg)) * 1e-3
    assert np.max(np.abs(trace.pressure_mmHg - shape(time))[500:-500]) < 0.05


@given(st.floats(0, 8), st.floats(0.5, 4))
@settings(max_examples=30, deadline=None)
def test_a_part_is_that_part_of_the_whole(start, seconds):
    start, seconds = round(start, 3), round(seconds, 3)
    whole = to_ticks(record(250.0), 1e-3)
    part = to_ticks(record(250.0), 1e-3, seconds, start)
    first, count = round(start * 1000), round(seconds * 1000)
    assert len(part.pressure_mmHg) == count + 1
    assert part.pressure_mmHg == pytest.approx(whole.pressure_mmHg[first : first + count + 1], abs=1e-4)


@pytest.mark.parametrize(
    ("seconds", "start"),
    [(13.0, 0.0), (5.0, 8.0), (None, 12.0), (None, 99.0), (1.0, -1.0), (np.nan, 0.0), (1.0, np.nan), (-1.0, 0.0),
     (1e-4, 0.0), (np.inf, 0.0)],
)
def test_more_than_there_is(seconds, start):
    with pytest.raises(InputError, match=r"^a\.csv: .*s") as caught:
        to_ticks(record(250.0), 1e-3, seconds, start)
    assert "\n" not in str(caught.value)


def test_flagged_samples_are_bridged_and_marked_with_their_neighbourhood():
    good = np.ones(3001, bool)
    good[1500:1512] = False
    sound = record(250.0)
    spoilt = sound.pressure_mmHg.copy()
    spoilt[~good] = np.nan
    trace = to_ticks(sound._replace(pressure_mmHg=spoilt, good=good), 1e-3)
    marked = np.flatnonzero(~trace.usable) * 1e-3
    assert marked[0] == pytest.approx(6.0 - 0.2, abs=0.005) and marked[-1] == pytest.approx(6.044 + 0.2, abs=0.005)
    assert len(marked) == pytest.approx((marked[-1] - marked[0]) * 1e3, abs=2)
    away = trace.usable & (np.arange(12_001) > 500) & (np.arange(12_001) < 11_500)
    assert np.max(np.abs(trace.pressure_mmHg - shape(np.arange(12_001) * 1e-3))[away]) < 0.02


def test_flagged_ends_are_left_out_and_long_holes_refused():
    good = np.ones(3001, bool)
    good[:250] = good[2800:] = False
    trace = to_ticks(record(250.0, good=good), 1e-3)
    assert trace.duration_s == pytest.approx((2799 - 250) / 250)
    assert trace.pressure_mmHg[0] == pytest.approx(shape(np.array([1.0]))[0])
    good[1500:1700] = False
    with pytest.raises(InputError, match=r"line 1500: no usable samples for 0\.8"):
        to_ticks(record(250.0, good=good), 1e-3)
    assert to_ticks(record(250.0, good=good), 1e-3, seconds=4.0).usable.any()


def test_nothing_usable_in_the_part_asked_for():
    good = np.ones(3001, bool)
    good[1500:1550] = False
    with pytest.raises(InputError, match=r"no usable samples in the 0\.1 s"):
        to_ticks(record(250.0, good=good), 1e-3, seconds=0.1, start_s=6.05)


@pytest.mark.parametrize("name", ["", "  ", "no such record", "pigs", "a:b:c"])
def test_names_that_lead_nowhere(name):
    with pytest.raises(InputError) as caught:
        load_record(name, 1e-3)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("period", [0.0, -1.0, np.nan, 1.0])
def test_absurd_ticks(period):
    with pytest.raises(InputError, match="period_s"):
        load_record("pig", period)


@needs_pig
def test_pig_is_loaded_without_importing_its_package():
    import subprocess
    import sys

    code = (
        "import sys; from plant.pressure.record import load_record; t = load_record('pig', 1e-3);"
        "sys.exit('aeon' in sys.modules or 'scipy' in sys.modules and 'scipy.signal' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
    trace = load_record("pig", 1e-3, seconds=5.0, start_s=2.0)
    assert len(trace.pressure_mmHg) == 5001 and trace.name == "pig" and "arXiv:2009.13807" in trace.source


def test_pig_without_its_package(monkeypatch):
    monkeypatch.setattr(pressure_record, "find_spec", lambda name: None)
    assert pig_file() is None and not pig_available()
    with pytest.raises(InputError, match=r"pip install --no-deps aeon==1\.6\.0$"):
        load_record("pig", 1e-3)

    def broken(name):
        raise ValueError("aeon.__spec__ is None")

    monkeypatch.setattr(pressure_record, "find_spec", broken)
    assert pig_file() is None


def test_pig_with_another_file_in_its_place(monkeypatch, tmp_path):
    other = tmp_path / "x.csv"
    other.write_text("a,b\n1,2\n")
    monkeypatch.setattr(pressure_record, "pig_file", lambda: other)
    with pytest.raises(InputError, match="reinstall"):
        load_record("pig", 1e-3)


def test_a_minute_that_ends_an_interval_or_two_early_will_do():
    raw = record(71.43, 59.986)
    trace = to_ticks(raw, 1e-3, 60.0)
    assert 59.9 < trace.duration_s < 60.0
    with pytest.raises(InputError, match=r"60\.2 s from 0 s on was asked for; the record has 59\.9"):
        to_ticks(raw, 1e-3, 60.2)


def test_a_bad_sample_hours_away_does_not_matter(tmp_path):
    rows = np.column_stack([np.arange(40_000) / 20.0, shape(np.arange(40_000) / 20.0)])
    rows[30_000, 1] = np.nan
    path = tmp_path / "long.csv"
    np.savetxt(path, rows, delimiter=",", header="time_s,pressure_mmHg", comments="", fmt="%.6f")
    trace = load_record(path, 1e-3, 30.0, 600.0)
    assert trace.duration_s == pytest.approx(30.0)
    rows[30_000, 1] = 90.0
    np.savetxt(path, rows, delimiter=",", header="time_s,pressure_mmHg", comments="", fmt="%.6f")
    clean = load_record(path, 1e-3)  # the same ticks as of the whole record
    assert np.max(np.abs(trace.pressure_mmHg - clean.pressure_mmHg[600_000:630_001])) < 1e-6
    rows[30_000, 1] = np.nan
    np.savetxt(path, rows, delimiter=",", header="time_s,pressure_mmHg", comments="", fmt="%.6f")
    with pytest.raises(InputError, match="line 30002: pressure_mmHg = nan"):
        load_record(path, 1e-3)
