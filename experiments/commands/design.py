"""Commands for a design: sweeps, gains for all fingers, and what each part costs. Heavy imports wait inside."""
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
    RecordOption,
    RequirementsOption,
    RigArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    TrustOption,
    WorkersOption,
)


def sweep(
    words: Annotated[
        list[str], typer.Argument(metavar="[RIG] AXIS...", help="TABLE.KEY=LOW:HIGH:COUNT[:log] or TABLE.KEY=A,B,C, "
                                  "of the rig's tables or finger.PART.KEY; a rig's name or file may go before.")
    ],
    fingers: Annotated[int | None, typer.Option(**WHOLE, help="Try each point on this many virtual fingers.")] = None,
    group: Annotated[str | None, typer.Option(help="Of this group or table (.csv); default: mixed.")] = None,
    finger: Annotated[str | None, typer.Option(help="On this one finger, for example mixed-1-0041.")] = None,
    sample: Annotated[
        int | None, typer.Option(**WHOLE, help="Take this many low-discrepancy points of the ranges, not their grid.")
    ] = None,
    simulated: Annotated[bool, typer.Option("--simulate", help="Run each point, too; margins only otherwise.")] = False,
    firmware: FirmwareOption = None,
    record: RecordOption = None,
    seconds: SecondsOption = None,
    requirements: RequirementsOption = None,
    seed: SeedOption = 1,
    keep: KeepOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """Margins, and tracking if asked, at every point of some axes. Exit status 1 when no point keeps all limits.

    With --out, work that was cut short goes on where it stopped when the same command is given again. With --firmware
    your own code runs unchanged at every point of axes outside the rig's law.
    """
    options = dict(locals())
    from experiments.commands.jobs.sweep import SweepJob, sweep_job

    raise typer.Exit(sweep_job(SweepJob(**options)))


def budget(
    rig: RigArgument = "wrist",
    at: Annotated[float, typer.Option("--at", **NUMBER, help="Arterial pressure [mmHg].")] = 90.0,
    samples: Annotated[
        int | None, typer.Option(**WHOLE, help="Base points of the Sobol indices, a power of two; 0: none of them.")
    ] = None,
    spread: Annotated[
        float | None, typer.Option(**NUMBER, help="Spread of the parts, up and down. Default: 0.2, 20 %.")
    ] = None,
    seed: SeedOption = 1,
    keep: KeepOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
    trust: TrustOption = False,
) -> None:
    """What each part costs in phase, delay, Ms and error. By one natural step, by derivative, and by its spread."""
    options = dict(locals())
    from experiments.commands.jobs.budget import BudgetOptions, budget_job

    raise typer.Exit(budget_job(BudgetOptions(**options)))


def tune(
    rig: RigArgument = "wrist",
    fingers: Annotated[int, typer.Option(**WHOLE, help="How many virtual fingers.")] = 500,
    group: Annotated[
        str, typer.Option(help="Their group: mixed, young, old, cold, warm, low_perfusion; or a table (.csv).")
    ] = "mixed",
    percentile: Annotated[
        float, typer.Option(**NUMBER, help="Share of the fingers that must keep the limits and counts [%].")
    ] = 100.0,
    slope_error: Annotated[
        float | None, typer.Option(**NUMBER, help="How far a search's light slope, and so the gain, may be off. By "
                                   "default what 95 % of searches stay below: 0.055 on wrist, 0.102 on cabinet.")
    ] = None,
    requirements: Annotated[
        Path | None, typer.Option(help="Requirements file (.toml); its limits on margins and on the command count. "
                                  "Default: the one that ships with the rig. Always: Ms of 1.6, 2 ticks of delay "
                                  "margin, and a quiet command, unless it says otherwise.")
    ] = None,
    structure: Annotated[
        str | None, typer.Option(help="The only structure to try, for example 'PI with lead'. Default: six of them.")
    ] = None,
    response: Annotated[
        Path | None, typer.Option(metavar="SHEET", help=(
            "Recordings of a bench with a multisine: measured data, with its band, in place of the twin."))
    ] = None,
    seed: Annotated[int, typer.Option(**WHOLE, help="Seed of the fingers.")] = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find settings that track best and keep margins on every finger. Beside them classical rules and the limit.

    Writes a rig file (tuned.toml) with --out. Then simulates 50 of the fingers. Exit status 1 when no
    settings keep the limits, or when simulation and prediction part.
    """
    options = dict(locals())
    from experiments.commands.jobs.tune import TuneOptions, tune_job

    raise typer.Exit(tune_job(TuneOptions(**options)))


COMMANDS = (sweep, budget, tune)
