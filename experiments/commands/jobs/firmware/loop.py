"""`cuffloop loop`: somebody's own firmware against a rig's plant."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.firmware.foreign.outcome import HEADER
from experiments.front.firmware.loop import BoardOptions, loop
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
    if options.firmware is None and options.board is None:
        raise InputError("--firmware: name a C file, a folder or a shared library; --header prints the interface")
    rig = rig_from(options.rig, options)
    board = BoardOptions(options.board, options.clock, options.number, options.words)
    return deliver(options, "running the firmware", lambda: loop(
        rig, options.firmware, options.record, requirements=options.requirements, seconds=options.seconds,
        start_s=options.start, seed=options.seed, board=board))
