"""What a recorded pressure must be like before it may drive the artery; each refusal is one line that says what to do.

Limits without a source are common practice.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError
from plant.pressure.resample import Mask, Samples

LOWEST_mmHg, HIGHEST_mmHg = -50.0, 400.0
LOWEST_RATE_Hz = 20.0
SHORTEST_s = 2.0
GAP = 1.5  # times the median interval
BESIDE_s = 1.0  # of a wanted part: what interpolation reaches at 20 Hz
SHORT_s = 0.1  # by which a record may miss what is asked for: a minute of samples ends an interval or more before it


class RawRecord(NamedTuple):
    """A record as read: evenly sampled within what `check_record` allows."""

    time_s: Samples  # (n,)
    pressure_mmHg: Samples  # (n,)
    good: Mask  # (n,) False where the source flags the sample as unusable
    rows: NDArray[np.int64]  # (n,) where each sample stands in the source, for messages
    row_word: str  # what a row is called there: "line" or "sample"
    name: str
    source: str
    skipped_s: float = 0.0  # of the source, before the first sample here


def shown(value: object, most: int = 40) -> str:
    """A value as it may stand in a one-line message: control characters escaped, cut when long."""
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(value))
    return text if len(text) <= most else text[: most - 1] + "…"


def check_record(record: RawRecord) -> RawRecord:
    """The record itself, when it can be used. Raises InputError for its first fault."""
    with np.errstate(all="ignore"):  # absurd numbers overflow on the way to their message
        _check_length(record)
        _check_finite(record)
        interval = _check_time(record)
        _check_units(record, interval)
        _check_range(record)
    return record


def part_of(record: RawRecord, start_s: float, seconds: float | None) -> RawRecord:
    """The record without what lies over `BESIDE_s` outside `seconds` from `start_s` on, so that it need not be good.

    `start_s` counts from its first good sample. All of it when that part does not lie within the record.
    """
    time = record.time_s
    sound = np.flatnonzero(record.good & np.isfinite(time) & np.isfinite(record.pressure_mmHg))
    if not len(sound) or not start_s >= 0.0:
        return record
    begin = float(time[sound[0]]) + start_s
    end = math.inf if seconds is None else begin + seconds
    last = float(np.nanmax(time))
    if begin >= last or (seconds is not None and end > last + SHORT_s) or (start_s == 0.0 and end >= last):
        return record
    kept = np.flatnonzero((time >= begin - BESIDE_s) & (time <= end + BESIDE_s))
    some = slice(int(kept[0]), int(kept[-1]) + 1) if len(kept) else slice(0)
    if not np.any(record.good[some]):
        return record
    first = some.start + int(np.argmax(record.good[some]))
    return record._replace(
        time_s=time[some], pressure_mmHg=record.pressure_mmHg[some], good=record.good[some], rows=record.rows[some],
        skipped_s=record.skipped_s + float(time[first] - time[sound[0]]),
    )


def _at(record: RawRecord, index: int) -> str:
    return f"{record.name}: {record.row_word} {int(record.rows[index])}"


def _check_length(record: RawRecord) -> None:
    if len(record.time_s) < 2:
        raise InputError(f"{record.name}: {len(record.time_s)} samples; at least {SHORTEST_s:g} s of them are needed")


def _check_finite(record: RawRecord) -> None:
    for column, values, needed in (
        ("time_s", record.time_s, np.ones(len(record.time_s), bool)),
        ("pressure_mmHg", record.pressure_mmHg, record.good),
    ):
        wrong = ~np.isfinite(values) & needed
        if np.any(wrong):
            first = int(np.argmax(wrong))
            raise InputError(
                f"{_at(record, first)}: {column} = {values[first]:g} is not a finite number; leave it out at the ends, "
                "or mark it 0 in a column named usable"
            )


def _check_time(record: RawRecord) -> float:
    """The median interval [s]; raises InputError for time that stands still, runs back, jumps, or is too coarse."""
    steps = np.diff(record.time_s)
    if np.any(steps <= 0.0):
        first = int(np.argmax(steps <= 0.0))
        word = "repeats" if steps[first] == 0.0 else "runs back to"
        raise InputError(
            f"{_at(record, first + 1)}: time_s {word} {record.time_s[first + 1]:.9g} s after "
            f"{record.time_s[first]:.9g} s; it must rise (enough decimals, rows in order)"
        )
    interval = float(np.median(steps))
    if 1.0 / interval < LOWEST_RATE_Hz:
        hint = "; is time_s in milliseconds?" if interval >= 1.0 else ""
        raise InputError(
            f"{record.name}: sampled at {1.0 / interval:.4g} Hz; a pulse needs at least {LOWEST_RATE_Hz:g} Hz{hint}"
        )
    slack = min(printed_step(record.time_s), 0.25 * interval)  # what rounding of the times may do
    gap = steps > GAP * interval + slack
    if np.any(gap):
        first = int(np.argmax(gap))
        raise InputError(
            f"{_at(record, first + 1)}: gap of {steps[first]:.6g} s after time_s = {record.time_s[first]:.9g} s; "
            f"intervals must stay within {GAP:g} times the median {interval:.6g} s"
        )
    short = steps < interval / GAP - slack
    if np.any(short):
        first = int(np.argmax(short))
        raise InputError(
            f"{_at(record, first + 1)}: interval of {steps[first]:.6g} s is uneven against the median "
            f"{interval:.6g} s; resample the record evenly, or print time_s with more decimals"
        )
    span = float(record.time_s[-1] - record.time_s[0])
    if span < SHORTEST_s - interval:
        raise InputError(f"{record.name}: {span:.4g} s long; at least {SHORTEST_s:g} s are needed")
    return interval


def printed_step(time_s: Samples) -> float:
    """The smallest power of ten [s] that all times are whole multiples of: how finely they were printed."""
    for decimals in range(7):
        scaled = (time_s[:10_000] - time_s[0]) * 10.0**decimals
        if np.all(np.abs(scaled - np.rint(scaled)) < 1e-3):
            return float(10.0**-decimals)
    return 0.0


def _check_units(record: RawRecord, interval_s: float) -> None:
    """Call out pressures whose size tells of another unit than mmHg."""
    values = record.pressure_mmHg[record.good]
    usable_s = len(values) * interval_s
    if usable_s < SHORTEST_s - interval_s:
        raise InputError(f"{record.name}: {usable_s:.3g} s of usable samples; at least {SHORTEST_s:g} s are needed")
    low, median, high = (float(v) for v in np.percentile(values, [1.0, 50.0, 99.0]))
    seen = f"pressure_mmHg has median {median:.4g}, 1st to 99th percentile {low:.4g} to {high:.4g}:"
    if median > 2000.0:
        raise InputError(f"{record.name}: {seen} looks like Pa, not mmHg (divide by 133.322)")
    if 3.0 <= median < 25.0 and high < 40.0:
        raise InputError(
            f"{record.name}: {seen} looks like kPa, not mmHg (multiply by 7.50062), or is no arterial pressure"
        )
    if low > -3.0 and high < 3.0:
        raise InputError(
            f"{record.name}: {seen} too small for arterial pressure in mmHg (volts, bar, or not calibrated?)"
        )


def _check_range(record: RawRecord) -> None:
    values = record.pressure_mmHg
    wrong = record.good & ((values < LOWEST_mmHg) | (values > HIGHEST_mmHg))
    if np.any(wrong):
        first = int(np.argmax(wrong))
        raise InputError(
            f"{_at(record, first)}: pressure_mmHg = {values[first]:.6g} is outside "
            f"{LOWEST_mmHg:g} … {HIGHEST_mmHg:g} mmHg"
        )
