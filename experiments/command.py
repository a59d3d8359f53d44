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
def schedules(
    rig: RigArgument = "wrist",
    chosen: Annotated[
        str, typer.Option("--schedules", metavar="NAME,…", help="Some of never, every, growing, clock, signs, steady, "
                          "FILE.py:Class for one of your own; or all.")
    ] = "all",
    scenarios: Annotated[
        str | None, typer.Option(metavar="NAME,…", help="Some of quiet, cold, pain, hand, warm, drug, pressure, "
                                 "irregular, light, …; or all 14.  [default: quiet,cold,pain,hand]")
    ] = None,
    fingers: Annotated[int | None, typer.Option(**WHOLE, help="Virtual fingers.  [default: 4; --full: 50]")] = None,
    minutes: Annotated[
        float | None, typer.Option(**NUMBER, help="Length of each run.  [default: 20; --full: 60]")
    ] = None,
    group: Annotated[
        str, typer.Option(help="Group of fingers: mixed, young, old, cold, warm or low_perfusion.")
    ] = "mixed",
    seed: Annotated[int, typer.Option(**WHOLE, help="Seed of fingers, beats and noise.")] = 1,
    full: Annotated[
        bool, typer.Option("--full", help="The full comparison: 50 fingers, an hour each, eight scenarios.")
    ] = False,
    workers: Annotated[int | None, typer.Option(**WHOLE, help="Processes.  [default: one a core]")] = None,
    setting: SetOption = None,
    out: Annotated[
        Path | None, typer.Option(help="Write pictures, JSON and NetCDF there, and keep finished runs to go on from.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Compare calibration schedules: lost time against error, in scenarios of tone and circulation."""
    from experiments.schedules_job import schedules_job

    raise typer.Exit(schedules_job(
        rig, chosen, scenarios, fingers, minutes, group, seed, full, workers, setting, out, as_json
    ))


@app.command()
def search(
    rig: RigArgument = "wrist",
    finger: Annotated[
        str | None,
        typer.Option(help="A virtual finger by name: GROUP-SEED-NUMBER, with -DEFECT for a spoiled one. "
                     "Default: mixed-1-0011."),
    ] = None,
    group: Annotated[
        str | None, typer.Option(help="Group of fingers: mixed (default), young, old, cold, warm, low_perfusion.")
    ] = None,
    strategy: Annotated[
        str | None,
        typer.Option(help="classroom, arctangent, waveform, probing, or FILE.py:Class for your own; for a study a list "
                     "with commas, or all. Default: probing; for a study all."),
    ] = None,
    record: Annotated[
        str | None, typer.Option(help="Search on the rig's own finger with this arterial pressure, as check does.")
    ] = None,
    fingers: Annotated[
        int | None, typer.Option(**WHOLE, help="A study: every strategy on so many fingers of the group.")
    ] = None,
    spoiled: Annotated[
        int, typer.Option(**WHOLE, help="Of a study: so many fingers of each kind that cannot be measured.")
    ] = 0,
    workers: Annotated[
        int | None, typer.Option(**WHOLE, help="Of a study: worker processes. Default: one for each core.")
    ] = None,
    substeps: Annotated[
        int | None,
        typer.Option(**WHOLE, help="Runge–Kutta steps a tick. Default: 5, more where a rig needs them to be stable; "
                     "with --record as many as check takes."),
    ] = None,
    seed: Annotated[int | None, typer.Option(**WHOLE, help="Seed of the group's fingers and of all noise.")] = None,
    setting: SetOption = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Write figures, JSON and NetCDF into this directory. A study keeps its parts there: the same "
                     "command goes on after an interruption, and more --fingers use what is there."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Find the set point of one virtual finger, with the truth beside it; or compare searches over many.

    Exit status 1 when the search fails.
    """
    from experiments.search_job import check_alone, search_job, study_job

    if fingers is None:
        check_alone({"--spoiled": spoiled or None, "--workers": workers}, "belongs to a study: add --fingers N")
        status = search_job(rig, finger, group, strategy, record, seed, substeps, setting, out, as_json)
    else:
        check_alone({"--finger": finger, "--record": record}, "is for one finger, and --fingers for a study: give one")
        status = study_job(rig, fingers, spoiled, group, strategy, seed, substeps, workers, setting, out, as_json)
    raise typer.Exit(status)


@app.command()
def rigs(
    rig: Annotated[str | None, typer.Argument(help="Show this rig's parameters with units and sources.")] = None,
    setting: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the built-in rigs, or show one: every parameter with its unit, bounds, meaning and source."""
    from experiments.jobs import rigs_job

    raise typer.Exit(rigs_job(rig, setting, as_json))


@app.command()
def height(
    rig: RigArgument = "wrist",
    sensor: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=NUMBER", help="Change a fault of the height sensor (offset_m, gain, noise_m, lag_s, "
                     "drift_m_h); may be repeated."),
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """What a hand that goes up by 10 and 40 cm does to the reading, and what a height sensor makes good."""
    from experiments.height_job import height_job

    raise typer.Exit(height_job(rig, sensor, seed, setting, out, as_json))


@app.command()
def wear(
    hours: Annotated[float, typer.Option(**NUMBER, help="Time from the first turn to the last [h].")] = 72.0,
    fingers: Annotated[int, typer.Option(**WHOLE, help="Fingers with a cuff, 1 or 2.")] = 2,
    turn: Annotated[float, typer.Option(**NUMBER, help="Under pressure before the other finger's turn [min].")] = 60.0,
    pause: Annotated[float, typer.Option(**NUMBER, help="Between two turns, no finger under pressure [min].")] = 0.0,
    mean: Annotated[float, typer.Option(**NUMBER, help="Mean cuff pressure [mmHg].")] = 90.0,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a plan of wear: hours, rest and pressure-time integral of each finger. Exit status 1 when refused."""
    from experiments.wear_job import wear_job

    raise typer.Exit(wear_job(hours, fingers, turn, pause, mean, out, as_json))


@app.command()
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
    except (KeyboardInterrupt, typer.Abort) as stop:
        # a compiler stopped half-way complains of its half-made objects as the process ends: no use to anyone
        sys.unraisablehook = _say_nothing
        _refused(f"interrupted{'; ' if str(stop) else ''}{stop}")
        return 130
    return 0


def _say_nothing(_: object) -> None:
    """In place of Python's report of errors in destructors."""


def _refused(reason: object) -> int:
    from experiments.messages import one_line

    print(f"cuffloop: {one_line(reason)}", file=sys.stderr)
    return 2
