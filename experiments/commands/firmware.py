"""Commands for whoever writes the firmware: the law as C, and somebody's own code in the loop. Imports wait inside."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from experiments.commands.options import (
    NUMBER,
    WHOLE,
    JsonOption,
    OutOption,
    RecordOption,
    RequirementsOption,
    RigArgument,
    SecondsOption,
    SeedOption,
    SetOption,
    StartOption,
)


def firmware(
    rig: RigArgument = "wrist",
    number: Annotated[str, typer.Option(help="Arithmetic: double, single or fixed.")] = "double",
    words: Annotated[
        int | None, typer.Option(**WHOLE, help="Bits of a word in fixed point, 8 to 32. Default: 16.")
    ] = None,
    package: Annotated[
        Path | None, typer.Option("--check", help="Rebuild a package that was written before, and run its vectors.")
    ] = None,
    setting: SetOption = None,
    out: Annotated[Path | None, typer.Option(help="Write the package into this directory.")] = None,
    as_json: JsonOption = False,
) -> None:
    """The rig's law and protection as C99, with settings, test vectors and a check. Status 1 when a check fails."""
    options = dict(locals())
    from experiments.commands.jobs.firmware import FirmwareOptions, firmware_job

    raise typer.Exit(firmware_job(FirmwareOptions(**options)))


def loop(
    rig: RigArgument = "wrist",
    firmware: Annotated[
        Path | None, typer.Option(help="Your firmware: a C file (.c), a folder of them, or a shared library.")
    ] = None,
    record: RecordOption = None,
    requirements: RequirementsOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    header: Annotated[bool, typer.Option("--header", help="Print the interface, pressure_servo.h, and end.")] = False,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run your own firmware against the rig's plant, in its own process. Status 1 on a finding or a broken limit."""
    options = dict(locals())
    from experiments.commands.jobs.loop import LoopOptions, loop_job

    raise typer.Exit(loop_job(LoopOptions(**options)))


def rounding(
    rig: RigArgument = "wrist",
    words: Annotated[
        str, typer.Option(help="Word lengths in bits, 8 to 32: LOW:HIGH, LOW:HIGH:STEP or A,B,C.")
    ] = "12:32",
    record: RecordOption = None,
    seconds: SecondsOption = None,
    start: StartOption = 0.0,
    range_mmHg: Annotated[
        float | None,
        typer.Option("--range", **NUMBER, help="Error at which its word saturates [mmHg]. Default: from a run."),
    ] = None,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Noise, blind errors, dead bands and margins of the law in words of a few bits, and the length to take.

    Exit status 1 when no length that was tried is long enough.
    """
    options = dict(locals())
    from experiments.commands.jobs.rounding import RoundingOptions, rounding_job

    raise typer.Exit(rounding_job(RoundingOptions(**options)))


COMMANDS = (firmware, rounding, loop)
