"""Commands about the finger: its set point, when to look for it again, height, wear. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    WHOLE,
    ClusterOption,
    FirmwareOption,
    JsonOption,
    KeepOption,
    OutOption,
    RigArgument,
    SeedOption,
    SetOption,
    TrustOption,
    WorkersOption,
)


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
    firmware: FirmwareOption = None,
    fingers: Annotated[
        int | None, typer.Option(**WHOLE, help="A study: every strategy on so many fingers of the group.")
    ] = None,
    spoiled: Annotated[
        int, typer.Option(**WHOLE, help="Of a study: so many fingers of each kind that cannot be measured.")
    ] = 0,
    keep: KeepOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
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
                     "command goes on after an interruption; with --keep a larger one later does, too."),
    ] = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """Find the set point of a virtual finger, or compare searches. The truth stands beside what was found.

    With --firmware the strategy asks your own servo, by its orders. Exit status 1 when the search fails.
    """
    options = dict(locals())
    from experiments.commands.jobs.search import SearchOptions, search_job

    raise typer.Exit(search_job(SearchOptions(**options)))


def schedules(
    rig: RigArgument = "wrist",
    chosen: Annotated[
        str, typer.Option("--schedules", metavar="NAME,…", help="Some of never, every, growing, clock, signs, "
                          "confirmed, steady, with numbers and look if wanted (every:20, growing:12:96+wide), "
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
    keep: KeepOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    setting: SetOption = None,
    out: Annotated[
        Path | None, typer.Option(help="Write pictures, JSON and NetCDF there; a stopped study goes on from here.")
    ] = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """Compare calibration schedules: lost time against error. In scenarios of tone and circulation."""
    options = dict(locals())
    from experiments.commands.jobs.schedules import SchedulesOptions, schedules_job

    raise typer.Exit(schedules_job(SchedulesOptions(**options)))


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
    """What a raised hand does to the reading, and its correction. By 10 and 40 cm, with a height sensor."""
    options = dict(locals())
    from experiments.commands.jobs.height import HeightOptions, height_job

    raise typer.Exit(height_job(HeightOptions(**options)))


def fingers(
    group: Annotated[
        str, typer.Argument(help="mixed, young, old, cold, warm, low_perfusion, or a table of fingers (.csv).")
    ] = "mixed",
    count: Annotated[int, typer.Option("--fingers", **WHOLE, help="How many.")] = 100,
    seed: Annotated[int, typer.Option(**WHOLE, help="Seed of the fingers.")] = 1,
    out: Annotated[
        Path | None, typer.Option(help="Write fingers.csv into this directory, to be read by sweep and tune (--group).")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Virtual fingers as a table, one a row. Printed by quantiles."""
    options = dict(locals())
    from experiments.commands.jobs.fingers import FingersOptions, fingers_job

    raise typer.Exit(fingers_job(FingersOptions(**options)))


def wear(
    hours: Annotated[float, typer.Option(**NUMBER, help="Time from the first turn to the last [h].")],
    fingers: Annotated[int, typer.Option(**WHOLE, help="Fingers with a cuff, 1 or 2.")],
    turn: Annotated[float, typer.Option(**NUMBER, help="Under pressure before the other finger's turn [min].")] = 40.0,
    pause: Annotated[float, typer.Option(**NUMBER, help="Between two turns, no finger under pressure [min].")] = 0.0,
    mean: Annotated[float, typer.Option(**NUMBER, help="Mean cuff pressure [mmHg].")] = 90.0,
    limit: Annotated[
        list[str] | None, typer.Option(metavar="KEY=NUMBER", help=(
            "A limit of your own, in place of an invented one: one_finger_h, two_fingers_h, turn_min, rest_min, "
            "load_mmHg_h. Repeatable."))
    ] = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a plan of wear by hours, rest and pressure-time integral, against limits. Exit status 1 when refused."""
    options = dict(locals())
    from experiments.commands.jobs.wear import WearOptions, wear_job

    raise typer.Exit(wear_job(WearOptions(**options)))


COMMANDS = (search, schedules, height, fingers, wear)
