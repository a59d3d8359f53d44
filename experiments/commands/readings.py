"""Commands about what is read from the clamp. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    ColumnsOption,
    JsonOption,
    OutOption,
    RecordOption,
    RigArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    StartOption,
)


def readings(
    rig: RigArgument = "wrist",
    record: RecordOption = None,
    columns: ColumnsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    offset: Annotated[
        float, typer.Option(**NUMBER, help="Transmural offset of the set point from the unloaded volume [mmHg].")
    ] = 0.0,
    estimator: Annotated[
        str,
        typer.Option(help="Of stroke volume: mean pressure, Windkessel, Liljestrand–Zander, systolic area, Herd, area "
                     "balance, or shape."),
    ] = "Liljestrand–Zander",
    age: Annotated[float | None, typer.Option(**NUMBER, help="Age of the wearer in years. Default: 50.")] = None,
    sex: Annotated[str | None, typer.Option(help="Sex of the wearer: f or m.")] = None,
    height: Annotated[float | None, typer.Option(**NUMBER, help="Height of the wearer [cm]. Default: 170.")] = None,
    weight: Annotated[float | None, typer.Option(**NUMBER, help="Weight of the wearer [kg]. Default: 70.")] = None,
    reference: Annotated[
        float | None, typer.Option(**NUMBER, help="Stroke volume by a reference during the run [mL].")
    ] = None,
    ventilated: Annotated[
        bool, typer.Option("--ventilated", help="The wearer is ventilated, with a closed chest.")
    ] = False,
    tidal: Annotated[float | None, typer.Option(**NUMBER, help="Tidal volume [mL/kg].")] = None,
    venous: Annotated[float, typer.Option(**NUMBER, help="Central venous pressure [mmHg].")] = 5.0,
    arm: Annotated[
        str, typer.Option(help="From finger to upper arm: law (with a filter for the wave) or tube.")
    ] = "law",
    cuff: Annotated[
        list[str] | None, typer.Option(metavar="TIME:SYSTOLIC/DIASTOLIC", help="What an upper-arm cuff read during the "
                                       "run [s, mmHg], as in 20:118/76; more than once if wanted.")
    ] = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read a rig's clamp: beats, upper-arm pressure, stroke volume, output, variation, each with its interval."""
    options = dict(locals())
    from experiments.commands.jobs.readings.readings import ReadingsOptions, readings_job

    raise typer.Exit(readings_job(ReadingsOptions(**options)))


def require(
    rig: RigArgument = "wrist",
    output: Annotated[float | None, typer.Option(**NUMBER, help="Largest error of output [%].")] = None,
    systolic: Annotated[float | None, typer.Option(**NUMBER, help="Of systolic pressure [mmHg].")] = None,
    diastolic: Annotated[float | None, typer.Option(**NUMBER, help="Of diastolic pressure [mmHg].")] = None,
    mean: Annotated[float | None, typer.Option(**NUMBER, help="Of mean pressure [mmHg].")] = None,
    variation: Annotated[
        float | None, typer.Option(**NUMBER, help="Largest variation with the breath that noise alone may read [%].")
    ] = None,
    at: Annotated[float, typer.Option(**NUMBER, help="Mean arterial pressure of the rig's clamp [mmHg].")] = 90.0,
    level: Annotated[float, typer.Option(**NUMBER, help="SD of the set point's error [mmHg].")] = 2.0,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """From limits on readings to bandwidth, damping, level, drift, noise; and what a rig's readings are worth."""
    options = dict(locals())
    from experiments.commands.jobs.readings.require import RequireOptions, require_job

    raise typer.Exit(require_job(RequireOptions(**options)))


def agree(
    tested: Annotated[Path, typer.Argument(help="CSV file of the tested method: subject,value, perhaps time_s.")],
    reference: Annotated[Path, typer.Argument(help="CSV file of the method it is held against.")],
    column: Annotated[str, typer.Option(help="Name of the column with the values.")] = "value",
    unit: Annotated[str, typer.Option(help="Unit of the values, for tables and pictures.")] = "",
    truth: Annotated[
        str, typer.Option(help="Whether the true value of a subject is 'changing' from pair to pair or 'constant'.")
    ] = "changing",
    zone: Annotated[
        float | None,
        typer.Option(**NUMBER, help="Zone of exclusion for changes, in the unit. Default: 15 % of the level."),
    ] = None,
    reference_precision: Annotated[
        float | None, typer.Option(**NUMBER, help="Precision of the reference that is known, as a share (0.2 = 20 %).")
    ] = None,
    iso: Annotated[
        bool, typer.Option("--iso", help="Judge by criteria 1 and 2 of ISO 81060-2; values in mmHg.")
    ] = False,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """How well two methods of measurement agree: limits of agreement, percentage error, trending, a constant beside."""
    options = dict(locals())
    from experiments.commands.jobs.readings.agree import AgreeOptions, agree_job

    raise typer.Exit(agree_job(AgreeOptions(**options)))


def trend(
    rig: RigArgument = "wrist",
    record: Annotated[str, typer.Option(help="A virtual person, as in person:45f.")] = "person:45f",
    chosen: Annotated[
        str, typer.Option("--schedules", metavar="NAME,…", help="As for `cuffloop schedules`.")
    ] = "growing,steady",
    scenarios: Annotated[
        str, typer.Option(metavar="NAME,…", help="As for `cuffloop schedules`; those that happen within seconds have "
                          "no circulation behind them.")
    ] = "quiet,cold",
    minutes: Annotated[float, typer.Option(**NUMBER, help="Length of each run.")] = 60.0,
    faults: Annotated[
        str | None, typer.Option(metavar="NAME,…", help="Failures, or all: what each does to each reading.")
    ] = None,
    estimator: Annotated[
        str, typer.Option(help="Of stroke volume, as for `cuffloop readings`.")
    ] = "Liljestrand–Zander",
    turn: Annotated[float, typer.Option(**NUMBER, help="Turn of each of two fingers [min].")] = 60.0,
    day: Annotated[float, typer.Option(**NUMBER, help="How long they take turns [h].")] = 24.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Readings over hours: output and variation under schedules, two fingers in turn, what failures do to readings."""
    options = dict(locals())
    from experiments.commands.jobs.readings.trend import TrendJobOptions, trend_job

    raise typer.Exit(trend_job(TrendJobOptions(**options)))


COMMANDS = (readings, require, agree, trend)
