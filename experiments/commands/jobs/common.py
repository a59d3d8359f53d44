"""What several jobs share: bounds of options, the pressure that is asked for, the engine of work, progress."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from experiments.rigs.rig import Rig
from experiments.work.run import Engine, local
from plant.errors import InputError
from plant.pressure.record import PressureTrace

SYNTHETIC_s = 30.0  # of synthetic pressure when nobody asks for more
LONGEST_s = 86_400.0
LATEST_s = 1e7  # into a record
LARGEST_SEED = 2**32 - 1
MOST_TICKS = 10_000_000  # nearly three hours at 1 kHz, and 3 GB of channels


def bounded(option: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Raise InputError when an option's number is NaN or outside low … high (inclusive)."""
    if not low <= value <= high:
        raise InputError(f"{option} {value:.12g} must be from {low:g} to {high:.12g}{unit and ' '}{unit}")


def engine_of(workers: int | None, address: str | None) -> Engine:
    """Processes of this machine, or a cluster. Raises InputError when both are asked for."""
    if address is None:
        return local(workers)
    if workers is not None:
        raise InputError(f"--workers {workers}: the cluster has its own; leave the option out")
    from experiments.work.cluster import cluster

    return cluster(address)


def pressure_source(rig: Rig, record: str | None, seconds: float | None, start_s: float, seed: int) -> PressureTrace:
    """The pressure trace a command runs on; without a name the pig's record, or the synthetic one where it is absent.

    Raises InputError for a record that cannot be used, and for more ticks than a run can hold.
    """
    from plant.pressure.record import pig_available, read_record, to_ticks
    from plant.pressure.synthetic import SyntheticPressure, synthesise

    period_s = rig.timing.period_s
    if seconds is not None:
        bounded("--seconds", seconds, period_s, LONGEST_s, "s")
    bounded("--start", start_s, 0.0, LATEST_s, "s")
    bounded("--seed", seed, 0, LARGEST_SEED)
    name = record if record is not None else ("pig" if pig_available() else "synthetic")
    if name == "synthetic":
        wanted = SYNTHETIC_s if seconds is None else seconds
        _refuse_too_many_ticks((start_s + wanted) / period_s, name)
        trace = synthesise(SyntheticPressure(), period_s, start_s + wanted, seed)
        first = round(start_s / period_s)
        return trace._replace(pressure_mmHg=trace.pressure_mmHg[first:], usable=trace.usable[first:])
    raw = read_record(name, seconds, start_s)
    length = raw.skipped_s + float(raw.time_s[-1] - raw.time_s[0]) - start_s
    _refuse_too_many_ticks((length if seconds is None else min(seconds, length)) / period_s, raw.name)
    return to_ticks(raw, period_s, seconds, start_s)


def _refuse_too_many_ticks(ticks: float, name: str) -> None:
    if ticks > MOST_TICKS:
        raise InputError(f"{name}: {ticks:.4g} ticks of timing.period_s are more than one run can hold ({MOST_TICKS}); "
                         "take less with --seconds")


@contextmanager
def progress_bar(label: str, quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """A progress bar on standard error when it is a terminal and nothing else was asked for."""
    import sys

    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)
