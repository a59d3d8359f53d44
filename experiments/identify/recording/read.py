"""Recordings from a sheet: read, named, checked one after the other."""
from __future__ import annotations

from pathlib import Path

import numpy as np

from experiments.identify.recording.check import (
    check_clock,
    check_columns,
    check_command,
    check_ends,
    check_excited,
    check_measured,
    check_order,
    even_period,
)
from experiments.identify.recording.recording import (
    CHANNELS,
    PRESSURES,
    Recording,
    Samples,
    resting_samples,
    usual_noise,
)
from experiments.identify.recording.sheet import Entry, Sheet
from experiments.identify.recording.tables import read_table
from plant.errors import InputError

MOST_SAMPLES = 5_000_000  # of all recordings together


def read_recordings(sheet: Sheet) -> list[Recording]:
    """All recordings of a sheet. Raises InputError in one line for the first that cannot be used."""
    made = [read_recording(sheet.path.parent, entry, columns)
            for entry, columns in zip(sheet.entries, sheet.columns, strict=True)]
    names = [one.name for one in made]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{sheet.path}: {name} is there {names.count(name)} times; give each recording once")
    total = sum(len(one.command) for one in made)
    if total > MOST_SAMPLES:
        raise InputError(f"{sheet.path}: {total} samples in all; at most {MOST_SAMPLES} are taken")
    if all(one.holdout for one in made):
        raise InputError(f"{sheet.path}: every recording is a holdout; nothing is left to fit")
    return with_common_noise(made, sheet)


def with_common_noise(recordings: list[Recording], sheet: Sheet) -> list[Recording]:
    """The same gauge has the same noise in every recording: what their samples at rest say together."""
    given = {entry.file for entry in sheet.entries if entry.noise_mmHg}
    pooled: dict[str, list[tuple[float, int]]] = {}
    for one in recordings:
        for name, values in one.channels.items():
            pooled.setdefault(name, []).append(usual_noise(values, resting_samples(one.command)))
    common = {name: float(np.sqrt(np.average([sd * sd for sd, _ in found], weights=[n for _, n in found])))
              for name, found in pooled.items()}
    return [one if one.name in given else one._replace(
        noise={name: max(common[name], 1e-9) for name in one.channels}) for one in recordings]


def read_recording(folder: Path, entry: Entry, own_names: dict[str, str] | None = None) -> Recording:
    """One recording, checked. Raises InputError."""
    path = folder / entry.file
    where = str(path)
    table, digest = read_table(path)
    if own_names:
        for ours, own in own_names.items():
            if own not in table:
                raise InputError(f"{where}: no column {own!r} (sheet: columns.{ours}); there are {', '.join(table)}")
        table = {ours: table[own] for ours, own in own_names.items()} | {
            name: values for name, values in table.items() if name in ("time_s", "command", *CHANNELS)
            and name not in own_names}
    elif "time_s" not in table and entry.sampling_Hz:
        table = {"time_s": np.arange(len(next(iter(table.values())))) / entry.sampling_Hz, **table}
    if entry.played == "ramp" and "command" not in table and "reading_mmHg" in table:
        table = table | {"command": begun(table["reading_mmHg"])}
    check_columns(table, where)
    period = even_period(table["time_s"], where, entry.sampling_Hz)
    check_command(table, where)
    channels = {name: table[name] for name in CHANNELS if name in table}
    noise = {name: _noise(name, values, entry, resting_samples(table["command"])) for name, values in channels.items()}
    for name, values in channels.items():
        check_measured(name, values, noise[name], where)
    check_order(table["command"], channels, noise, period, where)
    check_excited(channels, noise, where)
    check_ends(channels, where)
    if entry.command_file:
        played, _ = read_table(folder / entry.command_file)
        if "time_s" not in played or "command" not in played:
            raise InputError(f"{folder / entry.command_file}: a command file has the columns time_s and command")
        check_clock(table["command"], played["command"], period,
                    even_period(played["time_s"], str(folder / entry.command_file)), where)
    return Recording(entry.file, entry.played, period, table["command"], channels, noise, entry.start_mmHg,
                     entry.holdout, digest, entry.periods)


def begun(reading_mmHg: Samples) -> Samples:
    """A command for a ramp that nobody has recorded one of: 1 from where the pressure has risen by 2 mmHg."""
    start = float(np.median(reading_mmHg[: max(len(reading_mmHg) // 50, 1)]))
    return np.asarray(np.maximum.accumulate(reading_mmHg > start + 2.0), float)


def _noise(name: str, values: Samples, entry: Entry, rest: int) -> float:
    if entry.noise_mmHg and name in PRESSURES:
        return entry.noise_mmHg
    return max(usual_noise(values, rest)[0], 1e-9)
