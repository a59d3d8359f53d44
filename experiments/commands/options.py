"""Arguments and options that several commands share, and how numbers on the command line are read."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from plant.messages import value_text
from plant.read_number import read_number, read_whole


def number(text: str | float) -> float:
    """A number as the command line takes it. Raises typer.BadParameter that shows what was given."""
    try:
        return read_number(text) if isinstance(text, str) else text
    except ValueError:
        raise typer.BadParameter(f"{value_text(str(text))} is not a number") from None


def whole_number(text: str | int) -> int:
    """A whole number as the command line takes it. Raises typer.BadParameter that shows what was given."""
    try:
        return read_whole(text) if isinstance(text, str) else text
    except ValueError:
        raise typer.BadParameter(f"{value_text(str(text))} is not a whole number") from None


NUMBER: dict[str, Any] = {"parser": number, "metavar": "<number>"}
WHOLE: dict[str, Any] = {"parser": whole_number, "metavar": "<whole number>"}

RIG_HELP = (
    "A built-in rig's name or a rig file (.toml). A rig file can name a Python file (kind = \"FILE.py:Class\"), "
    "which is then run: open only a rig that you have read or whose author you trust."
)
RigArgument = Annotated[str, typer.Argument(help=RIG_HELP, show_default=True)]
RigsArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[RIG]...", help=f"{RIG_HELP} Several are put side by side.  [default: wrist]"),
]
TrustOption = Annotated[bool, typer.Option(
    "--trust", help="Run the Python file that the rig names, though the study in --out or --faults was there before.")]
SetOption = Annotated[
    list[str] | None, typer.Option("--set", metavar="TABLE.KEY=VALUE", help="Change one parameter; may be repeated.")
]
ColumnsOption = Annotated[
    str | None,
    typer.Option(metavar="T,P[,USABLE]", help=(
        "The CSV file's own names of its columns: time in s, pressure in mmHg and, if it has it, 1 for a sample that "
        "counts and 0 for others; other columns are left alone. You answer for the units.")),
]
KeepOption = Annotated[
    bool, typer.Option("--keep", help="Keep finished pieces beside the result, for a larger study later.")
]
RecordOption = Annotated[
    str | None,
    typer.Option(
        help="Arterial pressure: a CSV file (time_s,pressure_mmHg and, if wanted, usable: 0 for a sample that must not "
        "count), a WFDB record, 'pig', 'synthetic', or a virtual person, 'person:45f'. Default: 'pig' when its package "
        "is installed, else 'synthetic'."
    ),
]
SecondsOption = Annotated[float | None, typer.Option(**NUMBER, help="Use only this much of the record [s].")]
StartOption = Annotated[float, typer.Option(**NUMBER, help="Start this far into the record [s].")]
SeedOption = Annotated[int, typer.Option(**WHOLE, help="Seed of all noise.")]
OutOption = Annotated[Path | None, typer.Option(help="Write figures and JSON into this directory.")]
FirmwareOption = Annotated[
    Path | None, typer.Option("--firmware", help=(
        "Your own servo in place of the rig's law: a C file (.c), a folder of them or a shared library that speaks "
        "`cuffloop loop --header`. It is run with your rights.")),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print only JSON.")]
RequirementsOption = Annotated[
    Path | None, typer.Option(help="Requirements file (.toml). Default: the one that ships with the rig.")
]


WorkersOption = Annotated[int | None, typer.Option(**WHOLE, help="Processes to work with. Default: one a core.")]
ClusterOption = Annotated[
    str | None, typer.Option(metavar="ADDRESS", help="Hand the work to this Dask scheduler, e.g. tcp://host:8786.")
]
