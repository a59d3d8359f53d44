"""Commands about what is read from the clamp. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import NUMBER, JsonOption, OutOption


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
    from experiments.commands.jobs.agree import AgreeOptions, agree_job

    raise typer.Exit(agree_job(AgreeOptions(**options)))


COMMANDS = (agree,)
