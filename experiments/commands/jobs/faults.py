"""`cuffloop faults`: read, run the study, print tables or JSON, write files."""
from __future__ import annotations

import shutil
from pathlib import Path

from controller.protection.guards import PROTECTIONS
from experiments.commands.jobs.common import LARGEST_SEED, bounded, engine_of, progress_bar
from experiments.rigs.rig import load_rig
from experiments.rigs.trust import refuse_when_resumed
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.fault import PHYSIOLOGY
from experiments.safety.faults.pictures import fallback_figure, fault_matrix
from experiments.safety.faults.stories import bounded_story
from experiments.safety.faults.study import Plan, fault_text, prepare, run_study
from experiments.safety.faults.text import (
    study_json,
    study_lines,
    summaries,
    summary_table,
    write_runs_csv,
    write_runs_netcdf,
)
from experiments.safety.faults.verdict import load_fault_limits
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError

USUAL_FINGERS, FULL_FINGERS = 4, 200


def faults_job(
    rig_name: str, names: str | None, fingers: int | None, phases: int, group: str, pairs: bool, full: bool,
    taken_away: str | None, stories: float, seconds: float, requirements: Path | None, workers: int | None,
    address: str | None, seed: int, settings: list[str] | None, out: Path | None, as_json: bool,
    trust: bool = False,
) -> int:
    """0 when no failure breaks a limit with all protection in place and no physiology trips one, 1 otherwise."""
    from experiments.subjects.spreads import GROUPS

    refuse_when_resumed(rig_name, settings, trust, out and out / "faults-chunks")
    bounded("--seconds", seconds, 2.0, 600.0, "s")
    bounded("--seed", seed, 0, LARGEST_SEED)
    engine = engine_of(workers, address)
    if group not in GROUPS:
        raise InputError(f"--group {group} is not known; use one of {', '.join(GROUPS)}")
    count = fingers if fingers is not None else FULL_FINGERS if full else USUAL_FINGERS
    limits = load_fault_limits(requirements)
    protections = PROTECTIONS if taken_away is None else tuple(
        name.strip() for name in taken_away.split(",") if name.strip() and name.strip() != "none"
    )
    setting = Plan(rig_name, tuple(settings or ()), tuple(names.split(",")) if names else (), count, phases, group,
                      seed, pairs, protections, seconds, limits, bounded_story(stories))
    faults, _ = prepare(setting)
    setting = setting._replace(faults=tuple(fault_text(f) for f in faults))
    with OutputFolder.open(out) as folder:
        chunks = folder.path / "faults-chunks" if folder else None
        with progress_bar("failures", as_json) as progress:
            study = run_study(setting, chunks, engine, progress)
        table = summary_table(study)
        document = study_json(study, table) | provenance(seed)
        if folder:
            folder.write_json("faults.json", document)
            folder.write("faults.csv", lambda path: write_runs_csv(path, study))
            attributes = {"rig": load_rig(rig_name, settings).name, "command": document["provenance"]["command"],
                          "seed": str(seed), "cuffloop": document["provenance"]["cuffloop"],
                          "caution": document["caution"]}
            folder.write("faults.nc", lambda path: write_runs_netcdf(path, study, attributes))
            folder.write_figures({"faults": lambda: fault_matrix(study, table), "fallback": fallback_figure})
    if chunks is not None:
        shutil.rmtree(chunks, ignore_errors=True)  # everything in it is in the result now
    if as_json:
        print_json(document)
    else:
        print_lines(study_lines(study, table), folder)
    return 1 if any(s.breaks for s in summaries(table)) else 0


def catalogue_lines() -> list[str]:
    """The catalogue as a list."""
    lines = [f"{'failure':<27}{'part':<17}how it fails"]
    for fault in CATALOGUE.values():
        if fault.kind != PHYSIOLOGY:
            lines.append(f"{fault.name:<27}{fault.item:<17}{fault.mode}")
    lines += ["", "physiology that must trip nothing"]
    lines += [f"{f.name:<27}{f.item:<17}{f.mode}" for f in CATALOGUE.values() if f.kind == PHYSIOLOGY]
    return [*lines, "", f"protections: {', '.join(PROTECTIONS)}"]
