"""`cuffloop sweep`: read the axes, find out what each point is on, hand the work out, and say what came of it."""
from __future__ import annotations

from pathlib import Path
from typing import Any

from experiments.commands.jobs.common import (
    LARGEST_SEED,
    SYNTHETIC_s,
    bounded,
    engine_of,
    pressure_source,
    progress_bar,
)
from experiments.design.sweep.axes import FINGER, grid_points, parse_axes, sample_points
from experiments.design.sweep.piece import Case
from experiments.design.sweep.study import sweep
from experiments.design.sweep.verdict import limits_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import read_rig
from experiments.rigs.trust import refuse_when_resumed
from experiments.subjects.finger import Finger
from experiments.subjects.population import find_finger
from experiments.subjects.table import chosen_fingers, finger_of_table, is_table
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError
from plant.pressure.record import PressureTrace, pig_available, read_record
from plant.pressure.record_check import RawRecord

SHORTEST_s = 8.0  # of a finger's own pressure: the clamp must settle, and some beats must count


def sweep_job(
    words: list[str], sample: int | None, fingers: int | None, group: str | None, finger: str | None, simulated: bool,
    record: str | None, seconds: float | None, requirements: Path | None, seed: int, workers: int | None,
    address: str | None, settings: list[str] | None, out: Path | None, as_json: bool,
    trust: bool = False,
) -> int:
    """`cuffloop sweep`: 0 when a point keeps all limits, 1 when none does."""
    rig_name, texts = ("wrist", words) if words and "=" in words[0] else (words[0] if words else "wrist", words[1:])
    if "." in rig_name and "/" not in rig_name and not rig_name.endswith(".toml") and not texts:
        raise InputError(f"{rig_name}: an axis needs values, as in {rig_name}=LOW:HIGH:COUNT or {rig_name}=A,B,C")
    refuse_when_resumed(rig_name, settings, trust, out and out / "sweep-chunks")
    source = read_rig(rig_name, settings)
    people = _people(fingers, group, finger, seed)
    axes = parse_axes(texts, source, bool(people))
    points = grid_points(axes) if sample is None else sample_points(axes, sample, seed)
    limits = load_requirements(requirements or default_requirements(source.base))
    bounded("--seed", seed, 0, LARGEST_SEED)
    own_pressure = bool(people) or any(axis.name.startswith((f"{FINGER}.pressure", f"{FINGER}.wearer"))
                                       for axis in axes)
    trace: PressureTrace | None = None
    raw: RawRecord | None = None
    if own_pressure:
        if record not in (None, "synthetic"):
            raise InputError(f"--record {record}: every finger here has its own pressure; leave the option out")
        if seconds is not None:
            bounded("--seconds", seconds, SHORTEST_s, 3600.0, "s")
    else:
        name = record if record is not None else ("pig" if pig_available() else "synthetic")
        trace = pressure_source(source.rig(), name, seconds, 0.0, seed)
        raw = None if name == "synthetic" else read_record(name)  # so that another tick period can be swept
    case = Case(source, tuple(axis.name for axis in axes), simulated, trace, raw, seconds or SYNTHETIC_s, 0.0, seed)
    engine = engine_of(workers, address)
    options = [rig_name, *_settings(settings), *(["--simulate"] if simulated else []),
               *(["--seconds", f"{seconds:g}"] if seconds is not None else []),
               *(["--group", str(group)] if is_table(group) else [])]
    with OutputFolder.open(out) as folder:
        chunks = out / "sweep-chunks" if out else None
        with progress_bar(f"{len(points)} points", as_json) as progress:
            found = sweep(case, axes, points, people, sample is not None, chunks, engine, progress)
        kept = limits_of(found, limits)
        from experiments.design.sweep.text import study_json, study_lines

        document: dict[str, Any] = study_json(found, kept, options) | provenance(seed)
        if folder:
            from experiments.design.sweep.dataset import study_dataset
            from experiments.design.sweep.pictures import study_figures

            data = study_dataset(found, kept, document)
            folder.write_netcdf("sweep.nc", data)
            folder.write_json("sweep.json", document)
            folder.write_figures(study_figures(found, kept))
    if as_json:
        print_json(document)
    else:
        print_lines(study_lines(found, kept, options), folder)
    return 0 if document["points_that_keep_all"] else 1


def _people(count: int | None, group: str | None, name: str | None, seed: int) -> list[Finger]:
    """The population, the one finger that is named, or nobody."""
    if name is not None:
        table = is_table(group)
        if count is not None or (group is not None and not table):
            raise InputError(f"--finger {name}: names one finger; leave --fingers and --group out")
        return [finger_of_table(name, group) if group else find_finger(name)]
    if count is None:
        if group is not None:
            raise InputError(f"--group {group}: say how many with --fingers")
        return []
    bounded("--fingers", count, 1, 100_000)
    return chosen_fingers(count, group or "mixed", seed)


def _settings(settings: list[str] | None) -> list[str]:
    return [word for setting in settings or [] for word in ("--set", setting)]
