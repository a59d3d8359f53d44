"""`cuffloop fmu`: a rig's controller, plant or loop as a unit of FMI 3.0."""
from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from experiments.commands.jobs.common import Options, progress_bar, rig_from
from experiments.firmware.fmu.unit_file import SYSTEMS, unit_file
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class FmuOptions(Options):
    """What `cuffloop fmu` takes."""

    rig: str = "wrist"
    part: str = "loop"
    system: tuple[str, ...] = ()
    arterial: float = 90.0
    seed: int = 1


def fmu_job(options: FmuOptions) -> int:
    """0 when the unit is made."""
    unknown = [name for name in options.system if name not in SYSTEMS]
    if unknown:
        raise InputError(f"--system {unknown[0]}: one of {', '.join(SYSTEMS)}")
    if not 20.0 <= options.arterial <= 300.0:
        raise InputError(f"--arterial {options.arterial:g}: 20 … 300 mmHg")
    rig = rig_from(options.rig, options)
    with OutputFolder.open(options.out) as folder:
        with progress_bar("building", options.as_json) as bar:
            made = unit_file(rig, options.part, options.system or tuple(SYSTEMS), options.seed, options.arterial, bar)
        if folder:
            folder.write(f"{made.model}.fmu", partial(_write, made.content))
    variables = [v._asdict() for v in made.part.variables]
    if options.as_json:
        print_json({"model": made.model, "systems": made.systems, "compiler": made.compiler, "variables": variables,
                    "period_s": made.part.period_s, **provenance(options.seed)})
        return 0
    period_ms = 1e3 * made.part.period_s
    lines = [f"{made.model}.fmu, FMI 3.0, co-simulation in ticks of {period_ms:g} ms, by {made.compiler}"]
    lines += [f"  {name:<16} {size:,} bytes" for name, size in made.systems.items()]
    lines += [f"  {v.causality:<9} {v.name:<14} {v.unit or '1':<7} {v.text}" for v in made.part.variables]
    if folder is None:
        lines.append("  nothing written: name a directory with --out")
    print_lines(lines, folder)
    return 0


def _write(content: bytes, path: Path) -> None:
    path.write_bytes(content)
