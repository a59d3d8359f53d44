"""Commands for a safety reviewer. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    WHOLE,
    ClusterOption,
    ColumnsOption,
    FirmwareOption,
    JsonOption,
    KeepOption,
    RecordOption,
    RequirementsOption,
    RigArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    TrustOption,
    WorkersOption,
)


def faults(
    rig: RigArgument = "wrist",
    names: Annotated[
        str | None, typer.Option("--faults", help="Failures, separated by commas; NAME:0.5 for half its severity.")
    ] = None,
    listing: Annotated[bool, typer.Option("--list", help="List failures and protections, run nothing.")] = False,
    fingers: Annotated[
        int | None, typer.Option(**WHOLE, help="Virtual fingers. Default: 4, with --full 200.")
    ] = None,
    phases: Annotated[int, typer.Option(**WHOLE, help="Random onsets of each failure, on each finger.")] = 1,
    group: Annotated[str, typer.Option(help="Group of fingers.")] = "mixed",
    pairs: Annotated[bool, typer.Option("--pairs", help="Also every two failures together.")] = False,
    full: Annotated[bool, typer.Option("--full", help="The full study: 200 fingers.")] = False,
    without: Annotated[
        str | None, typer.Option(help="Protections to take away in turn, separated by commas; 'none'. Default: each.")
    ] = None,
    stories: Annotated[
        float, typer.Option(**NUMBER, help="Also every scenario for so many minutes, in search of false alarms.")
    ] = 0.0,
    seconds: Annotated[float, typer.Option(**NUMBER, help="How long to look after the onset [s].")] = 36.0,
    requirements: Annotated[
        Path | None, typer.Option(help="Fault requirements file (.toml). Default: the shipped one.")
    ] = None,
    firmware: FirmwareOption = None,
    keep: KeepOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: Annotated[
        Path | None, typer.Option(help="Write CSV, NetCDF, JSON and a figure here; a stopped study goes on from here.")
    ] = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """Inject every failure, with all protection and without each. Exit status 1 when a limit is broken with all.

    With --firmware your own code runs under the rig's protection; a finding in it is status 1, too.
    """
    options = dict(locals())
    from experiments.commands.jobs.faults import FaultsOptions, faults_job

    raise typer.Exit(faults_job(FaultsOptions(**options)))


def report(
    rig: RigArgument = "wrist",
    record: RecordOption = None,
    columns: ColumnsOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    faults: Annotated[
        Path | None, typer.Option(help="Folder that `cuffloop faults --out` has written for this rig.")
    ] = None,
    identified: Annotated[
        Path | None, typer.Option(help="Folder that `cuffloop identify --out` has written for this rig.")
    ] = None,
    scales: Annotated[
        Path | None, typer.Option(help="Scales of the failure-mode table (.toml). Default: ones that are invented.")
    ] = None,
    trend: Annotated[
        Path | None, typer.Option(help="Folder that `cuffloop trend --out` has written for this rig.")
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the report into this directory.  [default: report]")
    ] = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """One self-contained HTML file for the design file. Rig, margins, tracking, set point, failures, provenance."""
    options = dict(locals())
    from experiments.commands.jobs.report import ReportOptions, report_job

    raise typer.Exit(report_job(ReportOptions(**options)))


COMMANDS = (faults, report)
