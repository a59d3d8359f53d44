"""Commands for a safety reviewer. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.options import (
    JsonOption,
    RecordOption,
    RequirementsOption,
    RigArgument,
    SecondsOption,
    SeedOption,
    SetOption,
)


def report(
    rig: RigArgument = "wrist",
    record: RecordOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    faults: Annotated[
        Path | None, typer.Option(help="Folder that `cuffloop faults --out` has written for this rig.")
    ] = None,
    scales: Annotated[
        Path | None, typer.Option(help="Scales of the failure-mode table (.toml). Default: ones that are invented.")
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: Annotated[Path, typer.Option(help="Write the report into this directory.")] = Path("report"),
    as_json: JsonOption = False,
) -> None:
    """One self-contained HTML file for the design file: rig, margins, tracking, calibration, failures, provenance."""
    from experiments.report_job import report_job

    raise typer.Exit(report_job(rig, record, requirements, seconds, faults, scales, seed, setting, out, as_json))
