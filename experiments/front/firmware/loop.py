"""`cuffloop.loop`: somebody's own firmware against a rig's plant, on this machine or an emulated processor."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.firmware.board.processors import clock_of, processor_of
from experiments.firmware.foreign.outcome import FirmwareChoice, LoopOutcome, loop_outcome
from experiments.firmware.foreign.watch import BoardPlan
from experiments.front.firmware.ticks import ticks_dataset
from experiments.front.inputs import RecordLike, RigLike, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class BoardOptions:
    """An emulated processor, and the arithmetic of the rig's own firmware where none is named."""

    processor: str | None = None
    """`m0`, `m3`, `m4f` or `m7f`; None: this machine."""
    clock: str | None = None
    """Its clock, as in `168MHz`; None: a usual one."""
    number: str = "double"
    """Arithmetic of the rig's own firmware: `double`, `single` or `fixed`."""
    words: int | None = None
    """Bits of a word in fixed point."""


HERE = BoardOptions()


@dataclass(frozen=True, eq=False, repr=False)
class LoopResult(Result):
    """What `loop` gave. `found` holds the run, its tracking, the findings and, on a board, its figures."""

    found: LoopOutcome

    @property
    def passed(self) -> bool:
        """Whether there is no finding, the run ended, and every limit on tracking is kept."""
        return self.found.passed

    @property
    def file_name(self) -> str:
        """loop."""
        return "loop"

    def lines(self) -> list[str]:
        """Findings, the board's figures, tracking and verdict."""
        return self.found.lines()

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return self.found.document() | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """tracking, where the firmware came to a second tick."""
        return self.found.pictures()

    def to_xarray(self) -> xarray.Dataset:
        """Every tick that the firmware came to, over `time_s`; none where it did not begin."""
        return ticks_dataset(self.found.watched.run, self.attributes(), self.document())

    def write(self, folder: OutputFolder) -> None:
        """JSON, the picture and, after a finding that ended the run, its replay in C."""
        super().write(folder)
        for name, content in self.found.replay().items():
            folder.write(name, partial(_write, content))


def _write(content: bytes, path: Path) -> None:
    path.write_bytes(content)


@public
def loop(
    rig: RigLike = "wrist", firmware: str | Path | None = None, record: RecordLike = None, *,
    requirements: str | Path | None = None, seconds: float | None = None, start_s: float = 0.0, seed: int = 1,
    board: BoardOptions = HERE,
) -> LoopResult:
    """Run a firmware in C against a rig's plant, in a process of its own, at the true set point of a record.

    The firmware speaks `pressure_servo.h` (`cuffloop loop --header`). Whatever goes wrong in it, a crash, an end by
    itself, a hang, a command that is no number or out of range, is a finding with its tick.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        firmware: a C file, a folder of them, a shared library, or for a board an ELF file. It is run with your rights.
            None: the rig's own law as C.
        record: arterial pressure: a file, `pig`, `synthetic`, or what `read_record` returned.
        requirements: file of limits (`.toml`); None: the one that ships with the rig. Those on tracking count.
        seconds: use only so much of the record [s].
        start_s: begin so far into the record [s].
        seed: of all noise.
        board: an emulated processor to run it on, as `BoardOptions`.

    Returns:
        A LoopResult: `passed`; `found.watched.findings`, each with `kind`, `tick` and `text`; `to_xarray()` over
        `time_s` [s]; `plot()` with the figure `tracking`; `to_json()`, `save(folder)`, which writes a replay in C
        after a finding that ended the run.

    Raises:
        InputError: a firmware that cannot be built or loaded, no compiler, a processor or clock that is none.

    >>> import cuffloop
    >>> result = cuffloop.loop("wrist", record="synthetic", seconds=8)
    >>> result.passed, result.found.watched.findings
    (True, [])
    """
    given = None if firmware is None else Path(firmware)
    plan = None
    if board.processor is not None:
        processor = processor_of(board.processor)
        plan = BoardPlan(processor, clock_of(board.clock, processor))
    elif board.clock is not None:
        raise InputError(f"--clock {board.clock}: is for --board")
    made = rig_of(rig)
    limits = load_requirements(Path(requirements) if requirements else default_requirements(made.base))
    trace = pressure_on(made, record, seconds, start_s, seed)
    choice = FirmwareChoice(given, plan, board.number, board.words)
    return LoopResult(loop_outcome(made, trace, choice, limits, seed, watcher()), told=provenance(seed))
