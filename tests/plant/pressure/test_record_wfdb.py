import re
import sys

import numpy as np
import pytest

from plant.errors import InputError
from plant.pressure import record_wfdb
from plant.pressure.record import load_record

wfdb = pytest.importorskip("wfdb", reason="the package wfdb is not installed")

pytestmark = pytest.mark.filterwarnings("ignore:.*inplace keyword")  # of pandas, inside wfdb

RATE = 124.945
TIME = np.arange(1250) / RATE
PRESSURE = 95 + 22 * np.sin(2 * np.pi * 1.1 * TIME)


def write(folder, names=("II", "ABP"), units=("mV", "mmHg"), pressure=PRESSURE, name="rec"):
    signals = np.column_stack([0.1 * np.sin(TIME), *[pressure] * (len(names) - 1)])
    wfdb.wrsamp(name, fs=RATE, units=list(units), sig_name=list(names), p_signal=signals, fmt=["16"] * len(names),
                write_dir=str(folder))
    return folder / name


def refusal(name):
    with pytest.raises(InputError) as caught:
        load_record(name, 1e-3)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_the_pressure_channel_is_found_and_resampled(tmp_path):
    path = write(tmp_path)
    for name in (path, f"{path}.hea", f"{path}:ABP"):
        trace = load_record(name, 1e-3)
        time = np.arange(len(trace.pressure_mmHg)) * 1e-3
        inner = slice(500, 9000)
        expected = 95 + 22 * np.sin(2 * np.pi * 1.1 * time)
        assert np.max(np.abs(trace.pressure_mmHg - expected)[inner]) < 0.01  # 16 bits over the range: 0.7 µ of it
        assert trace.usable.all() and "ABP" in trace.name


def test_kilopascals_said_in_the_header_are_converted(tmp_path):
    trace = load_record(write(tmp_path, units=("mV", "kPa"), pressure=PRESSURE / 7.50062), 1e-3)
    assert np.mean(trace.pressure_mmHg) == pytest.approx(95, abs=1)


def test_channels_of_several_samples_a_frame_keep_their_rate(tmp_path):
    slow, fast = np.zeros(625, np.int64), np.rint(PRESSURE * 100).astype(np.int64)
    wfdb.io.wrsamp("multi", fs=RATE / 2, units=["mV", "mmHg"], sig_name=["II", "ART"], e_d_signal=[slow, fast],
                   fmt=["16", "16"], adc_gain=[100.0, 100.0], baseline=[0, 0], samps_per_frame=[1, 2],
                   write_dir=str(tmp_path))
    trace = load_record(tmp_path / "multi", 1e-3)
    assert trace.duration_s == pytest.approx(1249 / RATE, abs=2e-3)
    assert np.ptp(trace.pressure_mmHg) == pytest.approx(44, abs=0.3)


def test_records_in_segments(tmp_path):
    write(tmp_path, pressure=PRESSURE, name="one")
    write(tmp_path, pressure=PRESSURE + 5, name="two")
    (tmp_path / "whole.hea").write_text(f"whole/2 2 {RATE} 2500\none 1250\ntwo 1250\n")
    trace = load_record(tmp_path / "whole", 1e-3)
    assert trace.duration_s == pytest.approx(2499 / RATE, abs=2e-3)
    assert np.max(trace.pressure_mmHg) == pytest.approx(95 + 22 + 5, abs=0.5)


def test_missing_samples(tmp_path):
    holes = PRESSURE.copy()
    holes[:192] = np.nan  # before the transducer was connected
    holes[600:610] = np.nan  # a short dropout
    path = write(tmp_path, pressure=holes)
    trace = load_record(path, 1e-3)
    assert "1.54 s without signal" in trace.source
    at = 408 / RATE
    assert not trace.usable[round(at * 1e3)] and trace.usable[round(at * 1e3) - 300]
    holes[800:900] = np.nan
    path = write(tmp_path, pressure=holes)
    assert "no usable samples for 0.8" in refusal(path)
    assert load_record(path, 1e-3, seconds=3.0).duration_s == pytest.approx(3.0)  # the part before it


def test_choosing_a_channel(tmp_path):
    path = write(tmp_path, names=("II", "ABP", "ART"), units=("mV", "mmHg", "mmHg"))
    assert "more than one arterial channel among II, ABP, ART" in refusal(path)
    assert load_record(f"{path}:ART", 1e-3).name.endswith(":ART")
    assert "no channel 'CVP'; the record has II, ABP, ART" in refusal(f"{path}:CVP")
    assert "II is in mV" in refusal(f"{path}:II")
    assert "no arterial channel" in refusal(write(tmp_path, names=("II", "X"), name="none"))


def test_broken_records(tmp_path):
    path = write(tmp_path)
    (tmp_path / "rec.dat").unlink()
    assert "not a readable WFDB record" in refusal(path)
    (tmp_path / "junk.hea").write_bytes(b"\x00\xff\nnothing\n")
    assert "not a readable WFDB record" in refusal(tmp_path / "junk")
    (tmp_path / "void.hea").write_text("")
    assert "not a readable WFDB record" in refusal(tmp_path / "void")
    wfdb.wrsamp("lost", fs=RATE, units=["mmHg"], sig_name=["ABP"], d_signal=np.full((1250, 1), -32768), fmt=["16"],
                adc_gain=[100.0], baseline=[0], write_dir=str(tmp_path))  # −32768 stands for a missing sample
    assert "has no samples" in refusal(tmp_path / "lost")
    wfdb.wrsamp("still", fs=RATE, units=["mmHg"], sig_name=["ABP"], p_signal=PRESSURE[:, None], fmt=["16"],
                write_dir=str(tmp_path))
    text = (tmp_path / "still.hea").read_text()
    for rate in ("0", "0.0"):
        (tmp_path / "still.hea").write_text(text.replace(f" {RATE:g} ", f" {rate} ", 1))
        assert "0 samples a second are no sampling rate" in refusal(tmp_path / "still")


def test_a_broken_header_is_not_told_by_the_package_s_warnings(tmp_path, recwarn):
    """An absurd gain overflows inside the package; what is said is our one line, or nothing."""
    write(tmp_path)
    text = (tmp_path / "rec.hea").read_text()
    (tmp_path / "rec.hea").write_text(re.sub(r"(\.dat 16) [\d.]+", r"\1 1e-320", text))
    assert "II is in mV" in refusal(f"{tmp_path / 'rec'}:II")
    assert not [warning for warning in recwarn if issubclass(warning.category, RuntimeWarning)]


def test_without_the_package(tmp_path, monkeypatch):
    path = write(tmp_path)
    monkeypatch.setattr(record_wfdb, "find_spec", lambda name: None)
    assert "pip install wfdb" in refusal(path)


def test_the_package_is_not_imported_before_it_is_needed():
    import subprocess

    heavy = ("wfdb", "aeon", "scipy.signal", "scipy.interpolate", "pandas")
    code = f"import sys, plant.pressure.record; sys.exit(any(m in sys.modules for m in {heavy}))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
