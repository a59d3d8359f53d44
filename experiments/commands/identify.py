"""Commands for whoever has a rig on a bench: what to play, and what the recordings tell. Imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    WHOLE,
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
                          help=(
            "What to tell of: valve, tube, cuff, transducer, supply, timing; response; or light alone."))
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
    from experiments.commands.jobs.identify import ExciteOptions, excite_job

    raise typer.Exit(excite_job(ExciteOptions(**options)))


def identify(
    sheet: Annotated[Path, typer.Argument(
        help="Sheet (.toml) that names the recordings; `cuffloop excite` writes one.")],
    base: Annotated[
        str | None, typer.Option(metavar="RIG", help="The rig that is believed in. Default: the sheet's.")
    ] = None,
    free: Annotated[
        str, typer.Option(metavar="PART,…", help=(
            "What is looked for: some of valve, tube, cuff, transducer, timing, supply, or numbers as TABLE.KEY."))
    ] = "valve,tube,cuff,transducer,timing",
    known: Annotated[
        list[str] | None, typer.Option(metavar="TABLE.KEY=VALUE±SD", help=(
            "A number that was measured otherwise, with its standard uncertainty; may be repeated."))
    ] = None,
    starts: Annotated[int, typer.Option(**WHOLE, help="Searches at most.")] = 4,
    quick: Annotated[
        bool, typer.Option("--quick", help="Intervals by curvature only, no further recordings ranked.")] = False,
    accept_misfit: Annotated[
        bool, typer.Option("--accept-misfit", help="Write a rig file though the recordings are not explained.")
    ] = False,
    seed: SeedOption = 1,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find a rig's numbers in bench recordings, with intervals. Status 1 when not explained, or not all told."""
    options = dict(locals())
    from experiments.commands.jobs.identify import IdentifyOptions, identify_job

    raise typer.Exit(identify_job(IdentifyOptions(**options)))


COMMANDS = (excite, identify)
