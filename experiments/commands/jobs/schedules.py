"""What `cuffloop schedules` does: read, compare, print a table or JSON, write pictures and data."""
from __future__ import annotations

from pathlib import Path

from calibrate.schedule.names import find_scenarios, find_schedules
from experiments.calibration.schedule.dataset import write_dataset
from experiments.calibration.schedule.study import Plan, run_study
from experiments.calibration.schedule.text import print_table, study_json, summaries
from experiments.commands.jobs.common import LARGEST_SEED, MOST_TICKS, bounded, engine_of, progress_bar
from experiments.rigs.rig import load_rig
from experiments.rigs.trust import refuse_when_resumed
from experiments.work.output import OutputFolder, print_json, provenance
from plant.errors import InputError

USUAL_SCENARIOS, USUAL_FINGERS, USUAL_MINUTES = "quiet,cold,pain,hand", 4, 20.0
FULL_SCENARIOS, FULL_FINGERS, FULL_MINUTES = "quiet,cold,warm,pain,waves_strong,hand,pressure,irregular", 50, 60.0
MOST_FINGERS, SHORTEST_min, LONGEST_min = 10_000, 1.0, 120.0
KEPT = "runs"  # folder of finished runs inside the output folder


def schedules_job(
    rig_name: str, schedules: str, scenarios: str | None, fingers: int | None, minutes: float | None, group: str,
    seed: int, full: bool, workers: int | None, address: str | None, settings: list[str] | None, out: Path | None,
    as_json: bool, trust: bool = False,
) -> int:
    """`cuffloop schedules`: 0 when the comparison is done, whatever it says."""
    if full and out is None:
        raise InputError("--full takes the better part of an hour: give it an --out DIR, where it can be resumed")
    refuse_when_resumed(rig_name, settings, trust, out and out / KEPT)
    plan = _plan(rig_name, settings, schedules, scenarios, fingers, minutes, group, seed, full)
    engine = engine_of(workers, address)
    with OutputFolder.open(out) as folder:
        with progress_bar("comparing schedules", as_json) as progress:
            study = run_study(plan, folder.path / KEPT if folder else None, engine, progress)
        rows = summaries(study)
        document = study_json(study, rows) | provenance(seed)
        if folder:
            from experiments.calibration.schedule.pictures import course_figure, frontier_figure

            title = f"{study.rig.name}: {len(study.fingers)} fingers, {plan.seconds / 60.0:g} min each"
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
    rig_name: str, settings: list[str] | None, schedules: str, scenarios: str | None, fingers: int | None,
    minutes: float | None, group: str, seed: int, full: bool,
) -> Plan:
    """The plan of a command line. Raises InputError for what cannot be run."""
    number = fingers if fingers is not None else FULL_FINGERS if full else USUAL_FINGERS
    length = minutes if minutes is not None else FULL_MINUTES if full else USUAL_MINUTES
    bounded("--fingers", number, 1, MOST_FINGERS)
    bounded("--minutes", length, SHORTEST_min, LONGEST_min, "min")
    bounded("--seed", seed, 0, LARGEST_SEED)
    find_schedules(schedules, Path.cwd())
    ticks = 60.0 * length / load_rig(rig_name, settings).timing.period_s
    if ticks > MOST_TICKS:
        raise InputError(f"--minutes {length:g} are {ticks:.4g} ticks of timing.period_s, more than one run can hold "
                         f"({MOST_TICKS})")
    stories = find_scenarios(scenarios or (FULL_SCENARIOS if full else USUAL_SCENARIOS))
    return Plan(rig_name, tuple(settings or ()), schedules, stories, number, group, seed, 60.0 * length)
