"""What each command does: read, compute, print a short table or JSON, write figures and files."""
from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from experiments.output import OutputFolder, print_json, print_lines, provenance
from experiments.rig import Rig, built_in_rigs, load_rig
from experiments.work import Engine, local
from plant.errors import InputError
from plant.pressure_record import PressureTrace

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
    from experiments.cluster import cluster

    return cluster(address)


def pressure_source(rig: Rig, record: str | None, seconds: float | None, start_s: float, seed: int) -> PressureTrace:
    """The pressure trace a command runs on; without a name the pig's record, or the synthetic one where it is absent.

    Raises InputError for a record that cannot be used, and for more ticks than a run can hold.
    """
    from plant.pressure_record import pig_available, read_record, to_ticks
    from plant.pressure_synthetic import SyntheticPressure, synthesise

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
    raw = read_record(name)
    length = float(raw.time_s[-1] - raw.time_s[0]) - start_s
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


def check_job(
    rig_name: str, record: str | None, requirements: Path | None, seconds: float | None, start_s: float, seed: int,
    settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop check`: 0 when every limit is kept, 1 when one is not."""
    from experiments.check import check
    from experiments.check_report import check_figures, check_json, check_lines
    from experiments.requirements import default_requirements, load_requirements

    rig = load_rig(rig_name, settings)
    limits = load_requirements(requirements or default_requirements(rig.base))
    trace = pressure_source(rig, record, seconds, start_s, seed)
    with OutputFolder.open(out) as folder:
        with progress_bar("running the coupled loop", as_json) as progress:
            result = check(rig, trace, limits, seed=seed, progress=progress)
        document = check_json(result) | provenance(seed)
        if folder:
            folder.write_json("check.json", document)
            folder.write_figures(check_figures(result))
    if as_json:
        print_json(document)
    else:
        print_lines(check_lines(result), folder)
    return 0 if result.passed else 1


def simulate_job(
    rig_name: str, record: str | None, seconds: float | None, start_s: float, seed: int, settings: list[str] | None,
    offset_mmHg: float, volume_error: float, vent_s: float, trace_file: Path | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop simulate`: 0 when the clamp held to the end, 1 when the run diverged or stayed at a limit."""
    from experiments.check import run_tracking
    from experiments.check_report import run_json, run_lines
    from experiments.simulate import Plan, simulate
    from experiments.trace_file import check_trace_name, write_trace

    rig = load_rig(rig_name, settings)
    bounded("--offset", offset_mmHg, -200.0, 200.0, "mmHg")
    bounded("--volume-error", volume_error, -0.95, 0.95)
    bounded("--vent", vent_s, 0.0, LONGEST_s, "s")
    if trace_file is not None:
        check_trace_name(trace_file)
    trace = pressure_source(rig, record, seconds, start_s, seed)
    plan = Plan(vent_s=vent_s, offset_mmHg=offset_mmHg, set_point_error=volume_error)
    with OutputFolder.open(out) as folder:
        with progress_bar("running the coupled loop", as_json) as progress:
            run = simulate(rig, trace, plan, seed, progress=progress)
        found = run_tracking(run)
        document = run_json(run, found) | provenance(seed)
        if folder:
            from experiments.figures_run import tracking_figure

            folder.write_json("simulate.json", document)
            folder.write_figures({"tracking": lambda: tracking_figure(run, found, f"{rig.name} on {trace.name}")})
        if trace_file is not None:
            write_trace(trace_file, run, document)
    if as_json:
        print_json(document)
    else:
        print_lines(run_lines(run, found), folder)
    return 0 if run.status == "done" else 1


def margins_job(
    rig_name: str, pressures_mmHg: list[float] | None, settings: list[str] | None, out: Path | None, as_json: bool
) -> int:
    """`cuffloop margins`: 0 when every loop is stable, 1 when one is not."""
    from controller.budget import phase_budget
    from experiments.check import judge_loops, worst_of
    from experiments.check_report import loops_json, margin_figures_of, margins_lines

    rig = load_rig(rig_name, settings)
    for pressure in pressures_mmHg or []:
        bounded("--at", pressure, 10.0, 300.0, "mmHg")
    points = {f"{p:g} mmHg": p for p in pressures_mmHg or [90.0]}
    loops = judge_loops(rig, points)
    worst = worst_of(loops)
    rows = phase_budget(worst.loop, worst.margins.crossover_Hz) if math.isfinite(worst.margins.crossover_Hz) else []
    document: dict[str, Any] = {"rig": rig.name, **loops_json(loops, worst, rows)} | provenance(None)
    with OutputFolder.open(out) as folder:
        if folder:
            folder.write_json("margins.json", document)
            folder.write_figures(margin_figures_of(rig.name, loops, worst, rows))
    if as_json:
        print_json(document)
    else:
        print_lines(margins_lines(rig.name, loops, worst, rows), folder)
    return 0 if all(j.margins.stable for j in loops) else 1


def rigs_job(rig_name: str | None, settings: list[str] | None, as_json: bool) -> int:
    """`cuffloop rigs`: list the built-in rigs, or show one with all its parameters."""
    from experiments.rig_table import list_lines, rig_json, rig_lines

    if rig_name is None:
        if settings:
            raise InputError(f"--set {settings[0]}: name the rig that it changes, as in: cuffloop rigs wrist --set ...")
        rigs = [load_rig(name) for name in built_in_rigs()]
        if as_json:
            print_json({r.name: {"about": r.about} for r in rigs})
        else:
            print_lines(list_lines(rigs), None)
        return 0
    rig = load_rig(rig_name, settings)
    if as_json:
        print_json(rig_json(rig))
    else:
        print_lines(rig_lines(rig, shutil.get_terminal_size((100, 24)).columns), None)
    return 0
