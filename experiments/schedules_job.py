"""What `cuffloop schedules` does: read, compare, print a table or JSON, write pictures and data."""
from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from experiments.finger import on_finger
from experiments.instrument import instrument_of
from experiments.jobs import LARGEST_SEED, bounded
from experiments.messages import value_text
from experiments.output import OutputFolder, print_json, print_lines, provenance, waiting_name
from experiments.population import sample_fingers
from experiments.rig import load_rig
from experiments.scenarios import find_scenario
from experiments.schedule_names import find_schedules, find_search
from experiments.schedule_report import rows_of, study_json, study_lines, write_dataset
from experiments.schedule_study import Study, StudyPlan, run_study
from plant.errors import InputError

USUAL_SCENARIOS = ("quiet", "cold", "pain", "hand")
USUAL_FINGERS, USUAL_MINUTES = 4, 20.0
FULL_SCENARIOS = (
    "quiet", "cold", "cold_strong", "warm", "drug", "pain", "waves_strong", "hand", "pressure", "irregular", "light",
)
FULL_FINGERS, FULL_MINUTES = 50, 60.0
MOST_FINGERS, SHORTEST_min, LONGEST_min, MOST_WORKERS = 10_000, 1.0, 180.0, 256
DATA = "schedules.nc"
KEPT = "runs"  # folder of single runs inside the output folder


def schedules_job(
    rig_name: str, schedules: list[str] | None, scenarios: list[str] | None, fingers: int | None,
    minutes: float | None, group: str, seed: int, strategy: str, full: bool, workers: int | None,
    settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop schedules`: 0 when the comparison is done, whatever it says."""
    rig = load_rig(rig_name, settings)
    count = fingers if fingers is not None else FULL_FINGERS if full else USUAL_FINGERS
    length = minutes if minutes is not None else FULL_MINUTES if full else USUAL_MINUTES
    bounded("--fingers", count, 1, MOST_FINGERS)
    bounded("--minutes", length, SHORTEST_min, LONGEST_min, "min")
    bounded("--seed", seed, 0, LARGEST_SEED)
    bounded("--workers", workers or 1, 1, MOST_WORKERS)
    named = find_schedules(schedules, Path.cwd())
    search = find_search(strategy, Path.cwd())
    stories = _scenarios(scenarios, FULL_SCENARIOS if full else USUAL_SCENARIOS)
    people = tuple(sample_fingers(count, group, seed))
    for finger in people:
        on_finger(rig, finger)  # a cuff that does not fit is said before, not after an hour
    with OutputFolder.open(out) as folder:
        plan = StudyPlan(rig, instrument_of(rig), search, named, stories, people, 60.0 * length)
        study = _run(plan, workers or cores(), folder.path / KEPT if folder else None, as_json)
        rows = rows_of(study)
        document = study_json(study, rows) | provenance(seed)
        if folder:
            from experiments.figures_schedules import course_figure, frontier_figure

            title = f"{rig.name}: {len(people)} fingers, {length:g} min each"
            folder.write_json("schedules.json", document)
            folder.write_figures({
                "frontier": lambda: frontier_figure(rows, title), "one_finger": lambda: course_figure(study),
            })
            _write_data(folder, study, document)
    if as_json:
        print_json(document)
    else:
        print_lines(study_lines(study, rows), folder)
    return 0


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _scenarios(names: list[str] | None, usual: tuple[str, ...]) -> tuple[str, ...]:
    found = tuple(find_scenario(name).name for name in names or usual)
    for name in found:
        if found.count(name) > 1:
            raise InputError(f"--scenario {value_text(name)} is given twice")
    return found


def _run(plan: StudyPlan, workers: int, keep: Path | None, quiet: bool) -> Study:
    try:
        with study_bar(quiet) as progress:
            return run_study(plan, workers, keep, progress)
    except KeyboardInterrupt:
        if keep is not None and not quiet:
            kept = len(list(keep.glob("*.npz")))
            print(f"{kept} finished runs are kept in {keep}; the same command goes on from there", file=sys.stderr)
        raise


@contextmanager
def study_bar(quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """A progress bar that is drawn only when it is told of progress: no thread that worker processes would inherit."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:5.1f} %"),
               TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=Console(stderr=True), transient=True, auto_refresh=False) as bar:
        task = bar.add_task("comparing schedules", total=1.0)
        yield lambda share: bar.update(task, completed=share, refresh=True)


def _write_data(folder: OutputFolder, study: Study, document: dict[str, Any]) -> None:
    """The NetCDF file, under its waiting name until the folder is complete."""
    path = folder.path / DATA
    folder.written.append(DATA)
    try:
        write_dataset(waiting_name(path), study, document)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror or error}") from None
