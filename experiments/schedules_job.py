"""What `cuffloop schedules` does: read, compare, print a table or JSON, write pictures and data."""
from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from experiments.jobs import LARGEST_SEED, MOST_TICKS, bounded
from experiments.output import OutputFolder, print_json, provenance
from experiments.rig import Rig, load_rig
from experiments.schedule_data import write_dataset
from experiments.schedule_names import find_scenarios, find_schedules
from experiments.schedule_report import print_table, rows_of, study_json
from experiments.schedule_study import Study, StudyPlan, run_study
from plant.errors import InputError

USUAL_SCENARIOS, USUAL_FINGERS, USUAL_MINUTES = "quiet,cold,pain,hand", 4, 20.0
FULL_SCENARIOS, FULL_FINGERS, FULL_MINUTES = "quiet,cold,warm,pain,waves_strong,hand,pressure,irregular", 50, 60.0
MOST_FINGERS, SHORTEST_min, LONGEST_min, MOST_WORKERS = 10_000, 1.0, 120.0, 256
KEPT = "runs"  # folder of finished runs inside the output folder


def schedules_job(
    rig_name: str, schedules: str, scenarios: str | None, fingers: int | None, minutes: float | None, group: str,
    seed: int, full: bool, workers: int | None, settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop schedules`: 0 when the comparison is done, whatever it says."""
    if full and out is None:
        raise InputError("--full takes the better part of an hour: give it an --out DIR, where it can be resumed")
    rig = load_rig(rig_name, settings)
    plan = _plan(rig, schedules, scenarios, fingers, minutes, group, seed, full)
    bounded("--workers", 1 if workers is None else workers, 1, MOST_WORKERS)
    with OutputFolder.open(out) as folder:
        study = _run(plan, workers or cores(), folder.path / KEPT if folder else None, as_json)
        rows = rows_of(study)
        document = study_json(study, rows) | provenance(seed)
        if folder:
            from experiments.figures_schedules import course_figure, frontier_figure

            title = f"{rig.name}: {len(study.fingers)} fingers, {plan.seconds / 60.0:g} min each"
            folder.write_json("schedules.json", document)
            folder.write_figures({
                "frontier": lambda: frontier_figure(rows, title), "one_finger": lambda: course_figure(study),
            })
            folder.write("schedules.nc", lambda path: write_dataset(path, study, document))
    if as_json:
        print_json(document)
    else:
        print_table(study, rows)
        if folder:
            print(f"\nwritten to {folder.path}: {', '.join(folder.written)}; runs in {KEPT}/")
    return 0


def _plan(
    rig: Rig, schedules: str, scenarios: str | None, fingers: int | None, minutes: float | None, group: str, seed: int,
    full: bool,
) -> StudyPlan:
    """The plan of a command line. Raises InputError for what cannot be run."""
    number = fingers if fingers is not None else FULL_FINGERS if full else USUAL_FINGERS
    length = minutes if minutes is not None else FULL_MINUTES if full else USUAL_MINUTES
    bounded("--fingers", number, 1, MOST_FINGERS)
    bounded("--minutes", length, SHORTEST_min, LONGEST_min, "min")
    bounded("--seed", seed, 0, LARGEST_SEED)
    ticks = 60.0 * length / rig.timing.period_s
    if ticks > MOST_TICKS:
        raise InputError(f"--minutes {length:g} are {ticks:.4g} ticks of timing.period_s, more than one run can hold "
                         f"({MOST_TICKS})")
    stories = find_scenarios(scenarios or (FULL_SCENARIOS if full else USUAL_SCENARIOS))
    return StudyPlan(rig, find_schedules(schedules, Path.cwd()), stories, number, group, seed, 60.0 * length)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _run(plan: StudyPlan, workers: int, keep: Path | None, quiet: bool) -> Study:
    try:
        with study_bar(quiet) as progress:
            return run_study(plan, workers, keep, progress)
    except KeyboardInterrupt:
        if keep is not None:
            kept, wanted = len(list(keep.glob("*.npz"))), len(plan.scenarios) * plan.number
            print(f"{kept} of {wanted} fingers and scenarios are kept in {keep}; the same command goes on from there",
                  file=sys.stderr)
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
