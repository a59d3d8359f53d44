"""What a recording must be like before anything is fitted to it; each refusal is one line that says what to do.

Limits without a source are common practice.
"""
from __future__ import annotations

import numpy as np

from experiments.identify.recording.recording import CHANNELS, MEANING, PRESSURES, REST_SAMPLES, Samples
from plant.errors import InputError

SLOWEST_Hz, FASTEST_Hz = 200.0, 50_000.0
SHORTEST_s, FEWEST = 0.2, 200
GAP, UNEVEN = 1.5, 0.5  # of the median interval
CLOCK = 1e-4  # relative: what two quartz clocks may differ by and no more
CLIPPED_SAMPLES = 8  # in a row at the very end of the range, of a signal that is noisier than its steps
LEAST_MOVE = 8.0  # of the noise: less is too little excitation
LEAST_COMMAND = 1e-4


def check_columns(columns: dict[str, Samples], where: str) -> None:
    """Refuse a table that lacks a column, holds others, or holds what is no number."""
    allowed = ("time_s", "command", *CHANNELS)
    for name in columns:
        if name not in allowed:
            raise InputError(f"{where}: column {name!r} is not known; name it as one of {', '.join(allowed)}, or say "
                             "so in the sheet: columns = { command = \"u\" }")
    for name in ("time_s", "command"):
        if name not in columns:
            raise InputError(f"{where}: column {name} ({MEANING[name]}) is missing; there are {', '.join(columns)}")
    if not set(columns) & set(CHANNELS):
        raise InputError(f"{where}: nothing was measured; one column of {', '.join(CHANNELS)} is needed")
    for name, values in columns.items():
        wrong = ~np.isfinite(values)
        if np.any(wrong):
            raise InputError(f"{where}: row {int(np.argmax(wrong)) + 1}: {name} is not a finite number "
                             f"({int(np.sum(wrong))} such in all)")


def even_period(time_s: Samples, where: str, sampling_Hz: float = 0.0) -> float:
    """Sampling period [s] of an even clock. Raises InputError for gaps, uneven steps, a rate out of range or drift."""
    if len(time_s) < FEWEST:
        raise InputError(f"{where}: {len(time_s)} samples; at least {FEWEST} are needed")
    steps = np.diff(time_s)
    median = float(np.median(steps))
    if np.any(steps <= 0.0):
        row = int(np.argmax(steps <= 0.0)) + 2
        raise InputError(f"{where}: row {row}: time_s does not increase ({time_s[row - 2]:.9g} to "
                         f"{time_s[row - 1]:.9g} s)")
    if not 1.0 / FASTEST_Hz <= median * (1.0 + 1e-6) and median > 0.0:
        raise InputError(f"{where}: {1.0 / median:.6g} samples a second; at most {FASTEST_Hz:g} are taken")
    if median * (1.0 - 1e-6) > 1.0 / SLOWEST_Hz:
        hint = "; the times look like ms: divide time_s by 1000" if 0.02 <= median <= 5.0 else ""
        raise InputError(f"{where}: {1.0 / median:.6g} samples a second; at least {SLOWEST_Hz:g} are needed{hint}")
    if np.any(steps > GAP * median):
        row = int(np.argmax(steps > GAP * median)) + 2
        raise InputError(f"{where}: row {row}: gap of {steps[row - 2]:.6g} s after time_s = {time_s[row - 2]:.9g} s; "
                         f"the others are {median:.6g} s; cut the recording there")
    if np.any(steps < UNEVEN * median):
        row = int(np.argmax(steps < UNEVEN * median)) + 2
        raise InputError(f"{where}: row {row}: interval of {steps[row - 2]:.6g} s among ones of {median:.6g} s; print "
                         "time_s with more decimals, or resample evenly")
    period = float((time_s[-1] - time_s[0]) / (len(time_s) - 1))
    if (len(time_s) - 1) * period < SHORTEST_s:
        raise InputError(f"{where}: {(len(time_s) - 1) * period:.3g} s long; at least {SHORTEST_s:g} s are needed")
    bend = float(np.max(np.abs(time_s - time_s[0] - period * np.arange(len(time_s)))))
    if bend > 2.0 * period:
        raise InputError(f"{where}: its clock drifts: time_s departs by {bend:.3g} s from an even course; resample "
                         "evenly")
    if sampling_Hz and abs(period * sampling_Hz - 1.0) > CLOCK:
        off = 100.0 * (1.0 / (period * sampling_Hz) - 1.0)
        raise InputError(f"{where}: its clock drifts: {1.0 / period:.7g} samples a second by time_s, and the sheet "
                         f"says {sampling_Hz:.7g}; one of the two is off by {off:+.3g} %")
    return period


def check_command(columns: dict[str, Samples], where: str) -> None:
    """Refuse a command that is in another unit, swapped with a pressure, or does not move."""
    command = columns["command"]
    low, high = float(np.min(command)), float(np.max(command))
    if low < -1.0 - 1e-9 or high > 1.0 + 1e-9:
        for name in CHANNELS:
            values = columns.get(name)
            if values is not None and np.max(np.abs(values)) <= 1.0 and np.ptp(values) > 0.0:
                raise InputError(f"{where}: command runs from {low:.4g} to {high:.4g} and {name} stays within 1: the "
                                 "two columns look swapped")
        hint = ""
        if low >= -100.0 and 1.0 < high <= 100.0:
            current = low >= 3.5 and high <= 20.5
            hint = "; it looks like mA: (mA − 4)/16" if current else "; it looks like per cent or volts"
        raise InputError(f"{where}: command runs from {low:.4g} to {high:.4g}; it must be a fraction of full command, "
                         f"within −1 … 1{hint}")
    if high - low < LEAST_COMMAND:
        raise InputError(f"{where}: too little excitation: the command moves by {high - low:.2g} of full command")


def check_measured(name: str, values: Samples, noise: float, where: str) -> None:
    """Refuse a channel that is clipped, hardly moves, or is in another unit by its size."""
    if name == "light" and (np.min(values) < -0.1 or np.max(values) > 1.1):
        raise InputError(f"{where}: light runs from {np.min(values):.4g} to {np.max(values):.4g}; it must be a "
                         "fraction of full scale, 0 … 1")
    if name in PRESSURES and float(np.max(values)) > 3000.0:
        raise InputError(f"{where}: {name} reaches {np.max(values):.5g}; that looks like Pa: divide by 133.322")
    clipped = longest_at_end(values)
    steps = np.abs(np.diff(values))
    smallest = float(np.min(steps[steps > 0.0])) if np.any(steps > 0.0) else 0.0
    if clipped[0] >= CLIPPED_SAMPLES and noise > 0.5 * smallest > 0.0:
        raise InputError(f"{where}: {name} is clipped: {clipped[0]} samples in a row at {values[clipped[1]]:.6g}, from "
                         f"row {clipped[1] + 1} on; widen the recorder's range, or play it softer")


def longest_at_end(values: Samples) -> tuple[int, int]:
    """Longest run of samples at the highest or the lowest value there is, and where it begins."""
    best = 0, 0
    for end in (np.max(values), np.min(values)):
        at = np.concatenate([[0], (values == end).astype(int), [0]])
        edges = np.flatnonzero(np.diff(at))
        runs = edges[1::2] - edges[::2]
        longest = int(np.argmax(runs))
        best = max(best, (int(runs[longest]), int(edges[2 * longest])))
    return best


def check_excited(channels: dict[str, Samples], noise: dict[str, float], where: str) -> None:
    """Refuse a recording in which nothing answers the command."""
    if all(np.ptp(values) < LEAST_MOVE * noise[name] + 1e-9 for name, values in channels.items()):
        told = ", ".join(f"{name} by {np.ptp(values):.3g}" for name, values in channels.items())
        raise InputError(f"{where}: too little excitation: {told}, not beyond the noise; play it stronger")


def check_order(
    command: Samples, channels: dict[str, Samples], noise: dict[str, float], period_s: float, where: str
) -> None:
    """Refuse a pressure that moves before the command does: the two are on clocks that are not together."""
    moved = np.flatnonzero(np.abs(command - command[0]) > LEAST_COMMAND)
    first = int(moved[0])
    for name, values in channels.items():
        if name not in PRESSURES or name == "supply_mmHg" or first < REST_SAMPLES:
            continue
        start = float(np.mean(values[:REST_SAMPLES]))
        away = np.abs(values[: first + 1] - start) > 8.0 * noise[name] + 0.02 * np.ptp(values)
        if np.any(away):
            early = int(np.argmax(away))
            raise InputError(f"{where}: {name} moves {(first - early) * period_s:.3g} s before the command does: the "
                             "two columns are on clocks that are not together, or it was not at rest at the start")


def check_ends(channels: dict[str, Samples], where: str) -> None:
    """Refuse pressures at both ends of the line that look swapped: the valve end leads."""
    near, far = channels.get("node_mmHg"), channels.get("cuff_mmHg")
    if near is None or far is None or np.ptp(near) == 0.0 or np.ptp(far) == 0.0:
        return
    drive = near - far  # along the line air goes down the pressure: what the far end gains follows this
    rise = np.gradient(far)
    if float(np.corrcoef(drive, rise)[0, 1]) < -0.2:
        raise InputError(f"{where}: node_mmHg and cuff_mmHg look swapped: the one at the cuff leads the other")


def check_clock(command: Samples, played: Samples, period_s: float, played_s: float, where: str) -> None:
    """Hold a recorded command against the file that was played: same course, and at the same pace."""
    edges, wanted = edge_times(command, period_s), edge_times(played, played_s)
    if len(wanted) < 2 or len(edges) != len(wanted):
        return
    pace, _ = np.polyfit(wanted - wanted[0], edges - edges[0], 1)
    reach = period_s / float(wanted[-1] - wanted[0])  # what sampling makes of two edges
    if abs(pace - 1.0) > max(CLOCK, 2.0 * reach):
        raise InputError(f"{where}: its clock drifts: the command took {100.0 * (pace - 1.0):+.3g} % longer by time_s "
                         "than in the file that was played; correct time_s by one factor")


def edge_times(command: Samples, period_s: float) -> Samples:
    """Times [s] at which a command jumps by a quarter of its range or more."""
    return np.asarray((np.flatnonzero(np.abs(np.diff(command)) >= 0.25 * np.ptp(command)) + 1) * period_s, float)
