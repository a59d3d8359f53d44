"""Columns of numbers from CSV, Parquet or WFDB, by name; nothing is guessed at.

CSV: comma between cells, point in numbers, UTF-8, one header line. Raises InputError in one line for whatever fails.
"""
from __future__ import annotations

import hashlib
import warnings
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from experiments.identify.recording.recording import Samples
from plant.errors import InputError
from plant.pressure.record_check import shown
from plant.row_fault import row_fault

MOST_BYTES = 2_000_000_000
MOST_ROWS = 20_000_000
LONGEST_LINE = 10_000


def read_table(path: Path, record: str | None = None) -> tuple[dict[str, Samples], str]:
    """Columns of a file by name, and the SHA-256 of its bytes (of a WFDB record: of its header and signals)."""
    name = shown(path, 200)
    header = path.with_name(path.name + ".hea")
    if path.suffix == ".hea" or (not path.suffix and header.is_file()):
        return _wfdb(path.with_suffix("") if path.suffix else path, name)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"{name}: more than {MOST_BYTES} bytes; cut the recording into parts")
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        raise InputError(f"{name}: no such file") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{name}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if path.suffix == ".parquet":
        return _parquet(path, name), digest
    return _csv(path, name), digest


def _csv(path: Path, name: str) -> dict[str, Samples]:
    try:
        with open(path, encoding="utf-8-sig") as file:
            names = [cell.strip() for cell in file.readline(LONGEST_LINE).split(",")]
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # that there are no rows is told below
                rows = np.loadtxt(file, delimiter=",", comments=None, ndmin=2)
    except UnicodeDecodeError:
        raise InputError(f"{name}: not UTF-8 text; a CSV file with one header line is needed") from None
    except (ValueError, OverflowError):
        with open(path, encoding="utf-8-sig") as file:
            raise InputError(row_fault(file, name, names)) from None
    if len(set(names)) != len(names) or not all(names):
        raise InputError(f"{name}: line 1: header '{shown(','.join(names), 80)}' needs another name for each column")
    if rows.size == 0:
        raise InputError(f"{name}: no rows below the header")
    if rows.shape[1] != len(names):
        raise InputError(f"{name}: line 2: {rows.shape[1]} cells, and {len(names)} names in the header")
    if len(rows) > MOST_ROWS:
        raise InputError(f"{name}: more than {MOST_ROWS} rows; cut the recording into parts")
    return {own: np.ascontiguousarray(rows[:, i]) for i, own in enumerate(names)}


def _parquet(path: Path, name: str) -> dict[str, Samples]:
    try:
        parquet = import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(f"{name}: reading Parquet needs the package pyarrow: pip install pyarrow") from None
    try:
        table = parquet.read_table(path)
        return {own: np.ascontiguousarray(table[own].to_numpy(), float) for own in table.column_names}
    except Exception as error:  # a broken file can fail anywhere inside the package
        raise InputError(f"{name}: not a readable Parquet file of numbers: {shown(error, 120)}") from None


def _wfdb(path: Path, name: str) -> tuple[dict[str, Samples], str]:
    """Signals called like our columns; a pressure must be in mmHg, and time comes from the sampling rate."""
    if find_spec("wfdb") is None:
        raise InputError(f"{name}: reading WFDB records needs the package wfdb: pip install wfdb")
    import wfdb

    try:
        record = wfdb.rdrecord(str(path.absolute()))
        values = np.asarray(record.p_signal, float)
        names, units, rate_Hz = list(record.sig_name), list(record.units), float(record.fs)
        files = sorted({path.with_name(path.name + ".hea"), *(path.with_name(f) for f in record.file_name)})
        digest = hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()
    except Exception as error:  # a broken file can fail anywhere inside the package
        raise InputError(f"{name}: not a readable WFDB record: {shown(error, 120)}") from None
    for own, unit in zip(names, units, strict=True):
        if own.endswith("_mmHg") and unit != "mmHg":
            raise InputError(f"{name}: signal {shown(own, 40)} is in {shown(unit, 20)}; mmHg is needed")
    columns = {own: np.ascontiguousarray(values[:, i]) for i, own in enumerate(names)}
    return {"time_s": np.arange(len(values)) / rate_Hz, **columns}, digest
