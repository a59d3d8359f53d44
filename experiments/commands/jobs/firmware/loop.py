"""`cuffloop loop`: somebody's own firmware against a rig's plant."""
from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from experiments.commands.jobs.common import Options, progress_bar, rig_from
from experiments.firmware.board.processors import clock_of, processor_of
from experiments.firmware.foreign.outcome import HEADER, FirmwareChoice, loop_outcome
from experiments.firmware.foreign.watch import BoardPlan
from experiments.front.inputs import pressure_on
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class LoopOptions(Options):
    """What `cuffloop loop` takes."""

    rig: str = "wrist"
    firmware: Path | None = None
    record: str | None = None
    requirements: Path | None = None
    seconds: float | None = None
    start: float = 0.0
    seed: int = 1
    header: bool = False
    board: str | None = None
    clock: str | None = None
    number: str = "double"
    words: int | None = None


def loop_job(options: LoopOptions) -> int:
    """0 when nothing was found and every limit on tracking is kept, else 1."""
    if options.header:
        print(HEADER.read_text(encoding="utf-8"), end="")
        return 0
    choice = _choice(options)
    rig = rig_from(options.rig, options)
    limits = load_requirements(options.requirements or default_requirements(rig.base))
    trace = pressure_on(rig, options.record, options.seconds, options.start, options.seed)
    with OutputFolder.open(options.out) as folder:
        with progress_bar("running the firmware", options.as_json) as bar:
            found = loop_outcome(rig, trace, choice, limits, options.seed, bar)
        document = found.document() | provenance(options.seed)
        if folder:
            folder.write_json("loop.json", document)
            folder.write_figures(found.pictures())
            for name, content in found.replay().items():
                folder.write(name, partial(_write, content))
    if options.as_json:
        print_json(document)
    else:
        print_lines(found.lines(), folder)
    return 0 if found.passed else 1


def _choice(options: LoopOptions) -> FirmwareChoice:
    """What the options ask for. Raises InputError."""
    if options.firmware is None and options.board is None:
        raise InputError("--firmware: name a C file, a folder or a shared library; --header prints the interface")
    if options.board is None:
        if options.clock is not None:
            raise InputError(f"--clock {options.clock}: is for --board")
        return FirmwareChoice(options.firmware)
    processor = processor_of(options.board)
    plan = BoardPlan(processor, clock_of(options.clock, processor))
    return FirmwareChoice(options.firmware, plan, options.number, options.words)


def _write(content: bytes, path: Path) -> None:
    path.write_bytes(content)
