"""The command line: `cuffloop COMMAND [RIG] [options]`. Heavy imports happen inside the commands, so help is quick."""
from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated, Any

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

# the parent of all complaints about a command line; typer may carry its own copy of click, so it is asked, not imported
_USAGE: Any = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException")



def number(text: str | float) -> float:
    """A number as the command line takes it. Raises typer.BadParameter that shows what was given."""
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{str(text)!r} is not a number") from None


def whole_number(text: str | int) -> int:
    """A whole number as the command line takes it. Raises typer.BadParameter that shows what was given."""
    try:
        return int(text)
    except ValueError:
        raise typer.BadParameter(f"{str(text)!r} is not a whole number") from None


NUMBER: dict[str, Any] = {"parser": number, "metavar": "<number>"}
WHOLE: dict[str, Any] = {"parser": whole_number, "metavar": "<whole number>"}

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
SecondsOption = Annotated[float | None, typer.Option(**NUMBER, help="Use only this much of the record [s].")]
StartOption = Annotated[float, typer.Option(**NUMBER, help="Start this far into the record [s].")]
SeedOption = Annotated[int, typer.Option(**WHOLE, help="Seed of all noise.")]
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
    from experiments.jobs import simulate_job

    raise typer.Exit(
        simulate_job(rig, record, seconds, start, seed, setting, offset, volume_error, vent, trace, out, as_json)
    )


@app.command()
def margins(
    rig: RigArgument = "wrist",
    at: Annotated[
        list[float] | None,
        typer.Option("--at", **NUMBER, help="Arterial pressure of an operating point [mmHg]; may be repeated."),
    ] = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Margins of the exact sampled loop on both sides of the valve, and what each part costs in phase."""
    from experiments.jobs import margins_job

    raise typer.Exit(margins_job(rig, at, setting, out, as_json))


@app.command()
def faults(
    rig: RigArgument = "wrist",
    names: Annotated[
        str | None, typer.Option("--faults", help="Failures, separated by commas; NAME:0.5 for half its severity.")
    ] = None,
    listing: Annotated[bool, typer.Option("--list", help="List failures and protections, run nothing.")] = False,
    fingers: Annotated[
        int | None, typer.Option(**WHOLE, help="Virtual fingers. Default: 4, with --full 200.")
    ] = None,
    phases: Annotated[int, typer.Option(**WHOLE, help="Random onsets on each finger.")] = 1,
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
    workers: Annotated[int | None, typer.Option(**WHOLE, help="Worker processes. Default: one a core.")] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: Annotated[
        Path | None, typer.Option(help="Write CSV, NetCDF, JSON and a figure here; a stopped study goes on from here.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Inject every failure, with all protection and without each. Exit status 1 when a limit is broken with all."""
    from experiments.faults_job import catalogue_lines, faults_job

    if listing:
        print("\n".join(catalogue_lines()))
        raise typer.Exit(0)
    raise typer.Exit(
        faults_job(rig, names, fingers, phases, group, pairs, full, without, stories, seconds, requirements, workers,
                   seed, setting, out, as_json)
    )


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
    """Entry point: bad input ends in one line and status 2, never in a traceback. Without a command it prints help."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads would only fight over them
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal without our signs still gets all the rest
    try:
        status = _run(sys.argv[1:] or ["--help"])
        sys.stdout.flush()
    except BrokenPipeError:  # whoever was reading has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 141
    except OSError as error:
        status = _refused(f"the output cannot be written: {error.strerror or error}")
    sys.exit(status)


def _run(arguments: list[str]) -> int:
    """Exit status of a command line; whatever ends it early leaves one line on standard error."""
    from plant.errors import InputError

    try:
        command = typer.main.get_command(app)
        with command.make_context("cuffloop", arguments) as context:
            command.invoke(context)
    except typer.Exit as end:
        return int(end.exit_code)
    except InputError as error:
        return _refused(error)
    except _USAGE as error:
        where = getattr(error, "ctx", None)
        hint = f" (see: {where.command_path} --help)" if where else ""
        return _refused(f"{error.format_message().rstrip('.')}{hint}")
    except MemoryError:
        return _refused("not enough memory; take less of the record with --seconds")
    except (KeyboardInterrupt, typer.Abort):
        # a compiler stopped half-way complains of its half-made objects as the process ends: no use to anyone
        sys.unraisablehook = _say_nothing
        _refused("interrupted")
        return 130
    return 0


def _say_nothing(_: object) -> None:
    """In place of Python's report of errors in destructors."""


def _refused(reason: object) -> int:
    from experiments.messages import one_line

    print(f"cuffloop: {one_line(reason)}", file=sys.stderr)
    return 2
