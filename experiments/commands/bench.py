"""Commands for whoever has a rig on a bench: what to play, and what the recordings tell. Imports wait inside."""
from __future__ import annotations

from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    JsonOption,
    OutOption,
    RigArgument,
    SeedOption,
    SetOption,
)


def excite(
    rig: RigArgument = "wrist",
    parts: Annotated[
        str, typer.Option("--for", metavar="PART,…",
                          help="Parts to tell of: valve, tube, cuff, transducer, supply, timing.")
    ] = "valve,tube,cuff,transducer,timing",
    ceiling: Annotated[float, typer.Option(**NUMBER, help="Pressure that must not be passed [mmHg].")] = 250.0,
    rate: Annotated[float, typer.Option(**NUMBER, help="Samples a second of command and recording [Hz].")] = 5000.0,
    seconds: Annotated[float, typer.Option(**NUMBER, help="For all pieces together [s].")] = 12.0,
    play: Annotated[
        str | None, typer.Option(metavar="RIG", help=(
            "Play them on a virtual bench with this rig, and write what it records."))
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan commands for a bench with this rig: the best for time and ceiling. With --out: command files and a sheet."""
    options = dict(locals())
    from experiments.commands.jobs.excite import ExciteOptions, excite_job

    raise typer.Exit(excite_job(ExciteOptions(**options)))


COMMANDS = (excite,)
