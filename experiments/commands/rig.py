"""Commands about a rig: judge it, run it, its margins, its parameters. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    WHOLE,
    ColumnsOption,
    FirmwareOption,
    JsonOption,
    OutOption,
    RecordOption,
    RequirementsOption,
    RigArgument,
    RigsArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    StartOption,
)


def check(
    rigs: RigsArgument = None,
    record: RecordOption = None,
    columns: ColumnsOption = None,
    firmware: FirmwareOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    fingers: Annotated[int | None, typer.Option(**WHOLE, help=(
        "Judge one rig on this many virtual fingers, each at its own pressures and, within the rig file's [spread], "
        "on a rig of its own."))] = None,
    group: Annotated[str | None, typer.Option(help="Of this group or table (.csv); default: mixed.")] = None,
    simulated: Annotated[bool, typer.Option("--simulate", help="Run each finger, too; else margins only.")] = False,
    percentile: Annotated[
        float | None, typer.Option(**NUMBER, help="Share of the fingers that must keep the limits [%]. Default: 100.")
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a rig, or several side by side: margins, phase budget, tracking on a record. Exit status 0 pass, 1 fail.

    With --firmware a set-point search and a run of your own code, findings first, without margins.
    """
    options = dict(locals())
    from experiments.commands.jobs.check import CheckOptions, check_job

    raise typer.Exit(check_job(CheckOptions(**options | {"rigs": rigs or ["wrist"]})))


def simulate(
    rig: RigArgument = "wrist",
    finger: Annotated[
        str | None, typer.Option(help="Run on this virtual finger, as in mixed-1-0011, on its own pressure unless a "
                                      "record is given (`cuffloop fingers`).")
    ] = None,
    record: RecordOption = None,
    columns: ColumnsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    offset: Annotated[
        float, typer.Option(**NUMBER, help="Set point's transmural offset from the unloaded one [mmHg].")
    ] = 0.0,
    volume_error: Annotated[
        float, typer.Option(**NUMBER, help="Relative error of the arterial volume held; 0.1 is 10 % too large.")
    ] = 0.0,
    vent: Annotated[float, typer.Option(**NUMBER, help="Vent for this long at the end [s].")] = 0.0,
    trace: Annotated[
        Path | None, typer.Option(help="Write every tick: .csv, .parquet or .nc by the name's ending.")
    ] = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run a rig on a pressure record: fill, clamp, and vent if asked. Exit status 1 when the clamp does not hold."""
    options = dict(locals())
    from experiments.commands.jobs.simulate import SimulateOptions, simulate_job

    raise typer.Exit(simulate_job(SimulateOptions(**options)))


def margins(
    rig: RigArgument = "wrist",
    at: Annotated[
        list[float] | None,
        typer.Option("--at", **NUMBER, help="Arterial pressure of an operating point [mmHg]; may be repeated."),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(help="Solve for how far this number of the rig (TABLE.KEY, as tube.length_m) can go, either way, "
                          "until a limit breaks, and say which."),
    ] = None,
    response: Annotated[
        Path | None, typer.Option(metavar="SHEET", help=(
            "Recordings of a bench with a multisine: margins also on measured data, with a band."))
    ] = None,
    requirements: RequirementsOption = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Margins of the exact sampled loop, and its phase budget. On both sides of the valve; runs nothing."""
    options = dict(locals())
    from experiments.commands.jobs.margins import MarginsOptions, margins_job

    raise typer.Exit(margins_job(MarginsOptions(**options)))


def rigs(
    rig: Annotated[str | None, typer.Argument(help="Show this rig's parameters with units and sources.")] = None,
    setting: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the built-in rigs, or show every parameter of one. With unit, bounds, meaning and source."""
    options = dict(locals())
    from experiments.commands.jobs.rigs import RigsOptions, rigs_job

    raise typer.Exit(rigs_job(RigsOptions(**options)))


COMMANDS = (check, simulate, margins, rigs)
