"""What `cuffloop search` does: one finger with its picture, or a study of strategies over many fingers."""
from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from calibrate.search.strategies import ALL, USUAL, Strategy
from experiments.calibration.search.trial import Trial
from experiments.commands.jobs.common import LARGEST_SEED, bounded, engine_of, pressure_source, progress_bar
from experiments.rigs.rig import Rig, load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError

USUAL_SEED, USUAL_GROUP = 1, "mixed"
USUAL_NUMBER = 11  # of the finger that is shown when none is named: on it the classroom rule errs as it mostly does
MOST_SUBSTEPS = 1000
MOST_FINGERS = 100_000


def search_job(
    rig_name: str, finger: str | None, group: str | None, strategy: str | None, record: str | None, seed: int | None,
    substeps: int | None, settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop search` on one finger: 0 when a set point was found, 1 when the search failed."""
    from calibrate.search.strategies import load_strategies
    from experiments.calibration.search.trial_text import search_json, search_lines

    strategies = load_strategies(strategy or USUAL)
    if len(strategies) > 1:
        raise InputError(f"--strategy {strategy}: one at a time on one finger; add --fingers N to compare several")
    _check_options(seed, substeps)
    rig = load_rig(rig_name, settings)
    with OutputFolder.open(out) as folder:
        with progress_bar("searching", as_json):
            trial = one_trial(rig, finger, group, strategies[0], record, seed, substeps)
        document = search_json(trial) | provenance(trial.seed)
        if folder:
            from experiments.calibration.search.trial_pictures import search_figure

            folder.write_json("search.json", document)
            folder.write_figures({"search": lambda: search_figure(trial)})
    if as_json:
        print_json(document)
    else:
        print_lines(search_lines(trial), folder)
    return 0 if trial.calibration.found else 1


def check_alone(options: Mapping[str, object], why: str) -> None:
    """Raise InputError for the first option that was given though it has no meaning here."""
    for name, value in options.items():
        if value is not None:
            raise InputError(f"{name} {why}")


def _check_options(seed: int | None, substeps: int | None) -> None:
    if seed is not None:
        bounded("--seed", seed, 0, LARGEST_SEED)
    if substeps is not None:
        bounded("--substeps", substeps, 1, MOST_SUBSTEPS)


def one_trial(
    rig: Rig, name: str | None, group: str | None, strategy: Strategy, record: str | None, seed: int | None,
    substeps: int | None,
) -> Trial:
    """The search that the options ask for. Raises InputError where they contradict each other."""
    from experiments.calibration.search.trial import finger_trial, record_trial, usual_substeps
    from experiments.simulation.instrument import instrument_of
    from experiments.subjects.population import find_finger
    from experiments.subjects.spreads import GROUPS

    given: dict[str, Any] = {"--finger": name, "--group": group, "--seed": seed}
    clashes = {"--record": ("--finger", "--group"), "--finger": ("--group", "--seed")}
    for option, value in {"--record": record, "--finger": name}.items():
        for other in clashes[option]:
            if value is not None and given[other] is not None:
                why = "the record is played on the rig's own finger" if option == "--record" else "the name says it all"
                raise InputError(f"{option} and {other}: give only one of them, {why}")
    if group is not None and group not in GROUPS:
        raise InputError(f"--group {group}: use one of {', '.join(GROUPS)}")
    if record is not None:
        own_seed = USUAL_SEED if seed is None else seed
        trace = pressure_source(rig, record, None, 0.0, own_seed)
        return record_trial(rig, trace, strategy, instrument_of(rig), own_seed, substeps)
    usual = f"{group or USUAL_GROUP}-{USUAL_SEED if seed is None else seed}-{USUAL_NUMBER:04d}"
    finger = find_finger(name or usual)
    return finger_trial(rig, finger, strategy, instrument_of(rig), substeps or usual_substeps(rig))


def study_job(
    rig_name: str, fingers: int, spoiled: int, group: str | None, strategy: str | None, seed: int | None,
    substeps: int | None, workers: int | None, address: str | None, settings: list[str] | None, out: Path | None,
    as_json: bool, trust: bool = False,
) -> int:
    """`cuffloop search --fingers N`: 0 once every strategy has been tried on every finger."""
    from calibrate.search.strategies import load_strategies
    from experiments.calibration.search.piece import Plan
    from experiments.calibration.search.study import PARTS, run_study
    from experiments.calibration.search.text import study_dataset, study_json, study_lines
    from experiments.calibration.search.trial import usual_substeps
    from experiments.rigs.rig import load_rig
    from experiments.rigs.trust import refuse_when_resumed

    refuse_when_resumed(rig_name, settings, trust, out and out / PARTS)
    _check_options(seed, substeps)
    bounded("--fingers", fingers, 1, MOST_FINGERS)
    bounded("--spoiled", spoiled, 0, MOST_FINGERS)
    engine = engine_of(workers, address)
    strategies = load_strategies(strategy or ALL)
    steps = substeps or usual_substeps(load_rig(rig_name, settings))
    plan = Plan(
        rig_name, tuple(settings or ()), tuple(s.name for s in strategies), group or USUAL_GROUP,
        USUAL_SEED if seed is None else seed, fingers, spoiled, steps,
    )
    with OutputFolder.open(out) as folder:
        with progress_bar(f"{len(strategies)} searches on each finger", as_json) as progress:
            rows = run_study(plan, out, engine, progress)
        document = study_json(plan, rows) | provenance(plan.seed)
        if folder:
            from experiments.calibration.search.pictures import study_figure

            folder.write_json("searches.json", document)
            folder.write_netcdf("searches.nc", study_dataset(plan, rows, document))
            folder.write_figures({"searches": lambda: study_figure(plan, rows)})
    if as_json:
        print_json(document)
    else:
        print_lines(study_lines(plan, rows), folder)
    return 0
