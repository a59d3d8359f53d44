"""Arterial pressure from a record, on the tick grid: CSV, WFDB, or the named record `pig`."""
from __future__ import annotations

import math
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import numpy as np

from plant.errors import InputError
from plant.pressure.record_check import RawRecord, SHORT_s, check_record, part_of, printed_step, shown
from plant.pressure.record_csv import read_csv
from plant.pressure.record_quality import RecordQuality, record_quality
from plant.pressure.record_wfdb import is_wfdb, read_wfdb
from plant.pressure.resample import Mask, Samples, bridge, resample, widened

PIG = "pig"
PIG_RATE_Hz = 250.0  # inferred from the pulse rate; the file counts samples only
PIG_FILE = Path("datasets", "data", "KDD-TSAD_135", "135_UCR_Anomaly_InternalBleeding16_TEST.csv")
PIG_SOURCE = (
    "arterial pressure of a pig, from the aeon package (Guillame-Bert & Dubrawski, JMLR 2017;18(1):4370–4403; "
    "Wu & Keogh, arXiv:2009.13807); 250 Hz inferred, artificial samples bridged"
)
MASKED_s = 0.2  # on each side of a bridged sample
LONGEST_BRIDGE_s = 0.5  # less than a beat: what lies in a longer hole cannot be guessed
NO_PIG = (
    f"record '{PIG}' needs the package aeon, which carries it and is not installed: pip install --no-deps aeon==1.6.0"
)


class PressureTrace(NamedTuple):
    """Arterial pressure on the tick grid: sample i is at time i · period_s."""

    pressure_mmHg: Samples  # (n + 1,) for n ticks
    period_s: float
    usable: Mask  # (n + 1,) False where bridged or flagged, and 0.2 s around it
    name: str
    source: str
    quality: RecordQuality | None = None  # of the record it comes from; None when it is made up

    @property
    def duration_s(self) -> float:
        """Time from the first sample to the last [s]."""
        return (len(self.pressure_mmHg) - 1) * self.period_s


def load_record(
    name_or_path: str | Path, period_s: float, seconds: float | None = None, start_s: float = 0.0
) -> PressureTrace:
    """A record resampled to ticks of `period_s`: `seconds` of it (None: all) from `start_s` after its first sample.

    `pig` is the named record; `FILE.csv` a CSV file; `RECORD` or `RECORD:CHANNEL` a WFDB record. Raises InputError
    for a record that cannot be used or is shorter than asked for.
    """
    if not 1e-5 <= period_s <= 0.02:
        raise InputError(f"tick period_s = {period_s:g} must be from 1e-05 to 0.02 s")
    return to_ticks(read_record(name_or_path, seconds, start_s), period_s, seconds, start_s)


def read_record(
    name_or_path: str | Path, seconds: float | None = None, start_s: float = 0.0, columns: Sequence[str] | None = None
) -> RawRecord:
    """A record as it was sampled, checked; of `seconds` from `start_s` on only what `to_ticks` needs for them.

    `columns` are a CSV file's own names of time, pressure and, if wanted, usable. Raises InputError. What lies outside
    that part may be as bad as it likes.
    """
    return check_record(part_of(_read(name_or_path, columns), start_s, seconds))


def _read(name_or_path: str | Path, columns: Sequence[str] | None) -> RawRecord:
    if columns is not None:
        return read_csv(Path(name_or_path), columns)
    if str(name_or_path) == PIG:
        return _read_pig()
    if not str(name_or_path).strip():
        raise InputError("record name is empty; give a CSV file, a WFDB record, or 'pig'")
    path = Path(name_or_path)
    if is_wfdb(path):
        return read_wfdb(path)
    before, colon, channel = str(name_or_path).rpartition(":")
    if colon and is_wfdb(Path(before)):
        return read_wfdb(Path(before), channel)
    return read_csv(path)


def to_ticks(record: RawRecord, period_s: float, seconds: float | None = None, start_s: float = 0.0) -> PressureTrace:
    """A checked record on the tick grid, band-limited; its bad samples bridged and they and its faults unusable.

    It may lack up to SHORT_s of what is asked for.
    """
    kept = np.flatnonzero(record.good)
    part = slice(int(kept[0]), int(kept[-1]) + 1)
    time, good = record.time_s[part] - record.time_s[part.start], record.good[part]
    length = float(time[-1])
    interval = length / (len(time) - 1)
    begin = start_s - record.skipped_s  # within what is held here
    wanted = length - begin if seconds is None else seconds
    if not (start_s >= 0.0 and begin >= 0.0 and wanted > 0.0 and begin + wanted <= length + max(interval, SHORT_s)):
        asked = f"{wanted:g} s from {start_s:g} s on" if seconds is not None else f"what follows {start_s:g} s"
        raise InputError(f"{record.name}: {asked} was asked for; the record has {record.skipped_s + length:.6g} s")
    ticks = math.floor(min(wanted, length - begin) / period_s + 1e-6)
    if ticks < 1:
        raise InputError(f"{record.name}: {wanted:g} s from {start_s:g} s on is less than one tick of {period_s:g} s")
    _refuse_long_holes(record, part, begin / interval, (begin + wanted) / interval, interval)
    positions = _positions(time, interval, np.asarray(begin + np.arange(ticks + 1) * period_s))
    bridged = bridge(record.pressure_mmHg[part], good)
    values = resample(bridged, positions, period_s / interval)
    nearest = np.rint(positions).astype(np.int64)
    own = slice(int(nearest[0]), int(nearest[-1]) + 1)
    quality, at_fault = record_quality(bridged[own], good[own], interval, start_s)
    bad = widened(~good, math.ceil(MASKED_s / interval))
    if not np.all(at_fault | bad[own]):  # where nothing is left, `quality` says why; a run may still be wanted
        bad[own] |= at_fault
    usable = ~bad[nearest]
    if not np.any(usable):
        raise InputError(f"{record.name}: no usable samples in the {wanted:g} s from {start_s:g} s on")
    return PressureTrace(values, period_s, usable, record.name, record.source, quality)


def _refuse_long_holes(record: RawRecord, part: slice, first: float, last: float, interval_s: float) -> None:
    """Raise InputError when bad samples between two sample numbers of a part are too many in a row to bridge."""
    kept = np.flatnonzero(record.good[part])
    width = np.diff(kept)
    long = (width * interval_s > LONGEST_BRIDGE_s) & (kept[1:] > first) & (kept[:-1] < last)
    if np.any(long):
        hole = int(np.argmax(long))
        row = int(record.rows[part][kept[hole] + 1])
        raise InputError(
            f"{record.name}: {record.row_word} {row}: no usable samples for {width[hole] * interval_s:.4g} s from "
            f"{record.skipped_s + kept[hole] * interval_s:.6g} s on; holes up to {LONGEST_BRIDGE_s:g} s are bridged, "
            "choose a part without"
        )


def _positions(time_s: Samples, interval_s: float, wanted_s: Samples) -> Samples:
    """Wanted times as fractional sample numbers of the record.

    When the times differ from an even grid by no more than they were printed with, the grid (by least squares) is
    taken for the truth; otherwise (a clock that drifts) the record's own times are joined by straight lines.
    """
    number = np.arange(float(len(time_s)))
    centre = number - number.mean()
    step = float(np.dot(centre, time_s) / np.dot(centre, centre))
    begin = float(time_s.mean()) - step * number.mean()
    off_grid = float(np.max(np.abs(time_s - (begin + step * number))))
    if off_grid <= 1.01 * printed_step(time_s) or off_grid < 1e-3 * interval_s:
        return np.asarray(np.clip((wanted_s - begin) / step, 0.0, number[-1]))
    return np.asarray(np.interp(wanted_s, time_s, number))


def pig_file() -> Path | None:
    """Where the installed aeon package keeps the pig's record; None when it is not there. Does not import aeon."""
    try:
        found = find_spec("aeon")
    except (ImportError, ValueError):
        return None
    for place in (found.submodule_search_locations or []) if found else []:
        if (Path(place) / PIG_FILE).is_file():
            return Path(place) / PIG_FILE
    return None


def pig_available() -> bool:
    """Whether the record `pig` can be loaded."""
    return pig_file() is not None


def _read_pig() -> RawRecord:
    path = pig_file()
    if path is None:
        raise InputError(NO_PIG)
    try:
        table = np.loadtxt(path, delimiter=",", skiprows=1, ndmin=2)
        pressure, flag = table[:, 1], table[:, 2] != 0.0
    except (OSError, ValueError, IndexError):
        raise InputError(f"{shown(path, 200)}: is not the file that aeon 1.6.0 carries; reinstall it") from None
    # one sample more on each side: the one after the last flagged row is as far off as the flagged ones
    good = ~widened(flag, 1)
    rows = np.arange(len(pressure))
    return RawRecord(rows / PIG_RATE_Hz, np.ascontiguousarray(pressure), good, rows, "sample", PIG, PIG_SOURCE)
