"""The command line: `cuffloop COMMAND [RIG] [options]`. Heavy imports happen inside the commands, so help is quick."""
from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="cuffloop",
    help="Design and teaching workbench for the pressure servo of a finger cuff. Not a medical device: work on people "
    "follows the applicable standards, local codes and licensed practice.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

RigArgument = Annotated[str, typer.Argument(help="A built-in rig's name or a rig file (.toml).", show_default=True)]
SetOption = Annotated[
    list[str] | None, typer.Option("--set", metavar="TABLE.KEY=VALUE", help="Change one parameter; may be repeated.")
]
RecordOption = Annotated[
    str | None,
    typer.Option(
        help="Arterial pressure: a CSV file (time_s,pressure_mmHg), a WFDB record, 'pig' or 'synthetic'. "
        "Default: 'pig' when its package is installed, else 'synthetic'."
    ),
]
SecondsOption = Annotated[float | None, typer.Option(help="Use only this much of the record [s].")]
StartOption = Annotated[float, typer.Option(help="Start this far into the record [s].")]
SeedOption = Annotated[int, typer.Option(min=0, help="Seed of all noise.")]
OutOption = Annotated[Path | None, typer.Option(help="Write figures and JSON into this directory.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print only JSON.")]
RequirementsOption = Annotated[
    Path | None, typer.Option(help="Requirements file (.toml). Default: the one that ships with the rig.")
]


@app.command()
def check(
    rig: RigArgument = "wrist",
    record: RecordOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a rig: margins, phase budget and tracking on a pressure record. Exit status 0 pass, 1 fail."""
    from experiments.jobs import check_job

    raise typer.Exit(check_job(rig, record, requirements, seconds, start, seed, setting, out, as_json))


@app.command()
def simulate(
    rig: RigArgument = "wrist",
    record: RecordOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    offset: Annotated[float, typer.Option(help="Set point's transmural offset from the unloaded one [mmHg].")] = 0.0,
    volume_error: Annotated[
        float, typer.Option(help="Relative error of the arterial volume held; 0.1 is 10 % too large.")
    ] = 0.0,
    vent: Annotated[float, typer.Option(min=0.0, help="Vent for this long at the end [s].")] = 0.0,
    trace: Annotated[
        Path | None, typer.Option(help="Write every tick: .csv, .parquet or .nc by the name's ending.")
    ] = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run a rig on a pressure record: fill, clamp, and vent if asked. Exit status 1 when the run diverges."""
    from experiments.jobs import simulate_job

    raise typer.Exit(
        simulate_job(rig, record, seconds, start, seed, setting, offset, volume_error, vent, trace, out, as_json)
    )


@app.command()
def margins(
    rig: RigArgument = "wrist",
    at: Annotated[
        list[float] | None, typer.Option("--at", help="Arterial pressure of an operating point [mmHg]; may be repeated.")
    ] = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Margins of the exact sampled loop on both sides of the valve, and what each part costs in phase."""
    from experiments.jobs import margins_job

    raise typer.Exit(margins_job(rig, at, setting, out, as_json))


@app.command()
def rigs(
    rig: Annotated[str | None, typer.Argument(help="Show this rig's parameters with units and sources.")] = None,
    setting: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the built-in rigs, or show one: every parameter with its unit, bounds, meaning and source."""
    from experiments.jobs import rigs_job

    raise typer.Exit(rigs_job(rig, setting, as_json))


def main() -> None:
    """Entry point: bad input ends in one line and status 2, never in a traceback."""
    import click

    from plant.errors import InputError

    try:
        status = app(standalone_mode=False)
    except InputError as error:
        print(f"cuffloop: {error}", file=sys.stderr)
        status = 2
    except click.exceptions.NoArgsIsHelpError as error:
        print(error.format_message())
        status = 2
    except click.ClickException as error:
        print(f"cuffloop: {error.format_message()}", file=sys.stderr)
        status = 2
    except (KeyboardInterrupt, click.Abort):
        print("cuffloop: interrupted", file=sys.stderr)
        status = 130
    sys.exit(status or 0)
