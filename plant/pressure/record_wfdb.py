"""Pressure records in the WFDB format (Moody & Mark), read by the `wfdb` package where that is installed."""
from __future__ import annotations

import math
import warnings
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from plant.errors import InputError
from plant.pressure.record_check import RawRecord, shown
from plant.units import PASCAL_PER_MMHG

ARTERIAL = ("ABP", "ART", "AR1", "AR2", "AOBP", "RADIAL", "FEMORAL")  # names seen in open records, from memory
TO_PASCAL = {"mmHg": PASCAL_PER_MMHG, "kPa": 1000.0, "Pa": 1.0, "cmH2O": 98.0665}


def is_wfdb(path: Path) -> bool:
    """Whether a WFDB header of that name exists (the name comes without its suffix, or with `.hea`)."""
    try:
        return _without_suffix(path).with_name(_without_suffix(path).name + ".hea").is_file()
    except (OSError, ValueError):
        return False


def _without_suffix(path: Path) -> Path:
    return path.with_suffix("") if path.suffix == ".hea" else path


def read_wfdb(path: Path, channel: str | None = None) -> RawRecord:
    """The arterial pressure of a WFDB record, at that channel's own rate; missing samples are not good.

    `channel` names the signal; without it the one that is called like an arterial pressure is taken. Raises
    InputError when the package is missing, the record is broken, or the choice of channel is not clear.
    """
    name = shown(path, 200)
    if find_spec("wfdb") is None:
        raise InputError(f"{name}: reading WFDB records needs the package wfdb: pip install wfdb")
    import wfdb

    record_name = str(_without_suffix(path).absolute())
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the package's arithmetic on a broken header; the outcome is checked
            header = wfdb.rdheader(record_name, rd_segments=True)
            names, units = _signals(header)
            index = _choose(name, names, channel)
            record = wfdb.rdrecord(record_name, channels=[index], smooth_frames=False)
            values = np.asarray(record.e_p_signal[0], dtype=np.float64)
            rate_Hz = float(record.fs) * int((record.samps_per_frame or [1])[0])
    except InputError:
        raise
    except Exception as error:  # a broken file can fail anywhere inside the package
        raise InputError(f"{name}: not a readable WFDB record: {shown(error, 120)}") from None
    if not 0.0 < rate_Hz < math.inf:
        raise InputError(f"{name}: {rate_Hz:g} samples a second are no sampling rate")
    unit = units[index]
    if unit not in TO_PASCAL:
        allowed = ", ".join(TO_PASCAL)
        raise InputError(f"{name}: channel {shown(names[index])} is in {shown(unit)}; one of {allowed} is needed")
    good = np.isfinite(values)
    if not np.any(good):
        raise InputError(f"{name}: channel {shown(names[index])} has no samples")
    skipped = int(np.argmax(good)) / rate_Hz
    note = f", {skipped:.3g} s without signal left out at the start" if skipped else ""
    rows = np.arange(len(values))
    return RawRecord(
        rows / rate_Hz, values * (TO_PASCAL[unit] / PASCAL_PER_MMHG), good, rows, "sample",
        f"{name}:{shown(names[index])}", f"WFDB record {name}, channel {shown(names[index])}{note}",
    )


def _signals(header: Any) -> tuple[list[str], list[str]]:
    """Signal names and units, from the record or from the layout of its segments."""
    whole = [header, *(getattr(header, "segments", None) or [])]
    first = next(h for h in whole if getattr(h, "sig_name", None) and getattr(h, "units", None))
    return [str(n) for n in first.sig_name], [str(u) for u in first.units]


def _choose(name: str, names: list[str], channel: str | None) -> int:
    """Index of the wanted channel. Raises InputError that lists them all when it is not clear which."""
    listed = ", ".join(shown(n) for n in names)
    if channel is not None:
        if channel not in names:
            raise InputError(f"{name}: no channel '{shown(channel)}'; the record has {listed}")
        return names.index(channel)
    found = [i for i, n in enumerate(names) if n.upper() in ARTERIAL]
    if len(found) != 1:
        how = "more than one" if found else "no"
        raise InputError(f"{name}: {how} arterial channel among {listed}; choose one as {name}:CHANNEL")
    return found[0]
