"""The command that opens the bench. Heavy imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    WHOLE,
    RecordOption,
    RequirementsOption,
    RigsArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    StartOption,
)


def bench(
    rigs: RigsArgument = None,
    record: RecordOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    port: Annotated[
        int | None, typer.Option(**WHOLE, help="Port on 127.0.0.1; 0 takes any. Default: the usual one, if it is free.")
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in a browser, or only print its address.")
    ] = True,
    new_key: Annotated[
        bool, typer.Option("--new-key", help="Make a new key: pages that are open must be opened anew.")
    ] = False,
    offline: Annotated[
        Path | None, typer.Option(metavar="FILE", help=(
            "Write one live figure of the rig that needs no server into this HTML file, and end (extra `firmware`)."))
    ] = None,
) -> None:
    """Turn a knob and see the loop answer, in a browser. On this machine only; Ctrl-C ends it."""
    options = dict(locals())
    from experiments.bench.job import BenchOptions, bench_job

    raise typer.Exit(bench_job(BenchOptions(**options | {"rigs": rigs or ["wrist"]})))


COMMANDS = (bench,)
