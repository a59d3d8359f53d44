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
    from experiments.commands.jobs.firmware.firmware import FirmwareOptions, firmware_job

    raise typer.Exit(firmware_job(FirmwareOptions(**options)))


def loop(
    rig: RigArgument = "wrist",
    firmware: Annotated[
        Path | None, typer.Option(help="Your firmware: a C file (.c), a folder of them, a shared library, or for a "
                                       "board an ELF file. Left out with --board: the rig's own.")
    ] = None,
    board: Annotated[str | None, typer.Option(help="Run it on an emulated processor: m0, m3, m4f or m7f.")] = None,
    clock: Annotated[str | None, typer.Option(help="The board's clock, such as 168MHz.")] = None,
    number: Annotated[str, typer.Option(help="Arithmetic of the rig's own: double, single or fixed.")] = "double",
    words: Annotated[int | None, typer.Option(help="Bits of a word, with --number fixed.")] = None,
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
    """Run your own firmware against the rig's plant, in a process of its own. Status 1: a finding or a broken limit."""
    options = dict(locals())
    from experiments.commands.jobs.firmware.loop import LoopOptions, loop_job

    raise typer.Exit(loop_job(LoopOptions(**options)))


def fmu(
    rig: RigArgument = "wrist",
    part: Annotated[str, typer.Option(help="What the unit holds: controller, plant or loop.")] = "loop",
    system: Annotated[
        list[str] | None,
        typer.Option(help="Build for this system only, such as x86_64-linux; may be given several times."),
    ] = None,
    arterial: Annotated[float, typer.Option(help="Arterial pressure that the plant begins at [mmHg].")] = 90.0,
    seed: SeedOption = 1,
    setting: SetOption = None,
    out: Annotated[Path | None, typer.Option(help="Write the unit into this directory.")] = None,
    as_json: JsonOption = False,
) -> None:
    """The rig's controller, plant or loop as an FMI 3.0 unit for Linux, Windows and macOS."""
    options = dict(locals())
    from experiments.commands.jobs.firmware.fmu import FmuOptions, fmu_job

    options["system"] = tuple(system or ())
    raise typer.Exit(fmu_job(FmuOptions(**options)))


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
    from experiments.commands.jobs.firmware.rounding import RoundingOptions, rounding_job

    raise typer.Exit(rounding_job(RoundingOptions(**options)))


COMMANDS = (firmware, rounding, loop, fmu)
