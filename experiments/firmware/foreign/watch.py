"""The parent of a run with somebody's firmware: builds it, watches over it, and says what became of it."""
from __future__ import annotations

import hashlib
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from experiments.firmware.board import records as desk_words
from experiments.firmware.board.figures import BoardFigures, figures_of, findings_of
from experiments.firmware.board.image import Image, build_image, read_image
from experiments.firmware.board.processors import Processor
from experiments.firmware.foreign import child, records
from experiments.firmware.foreign.findings import Finding, PATIENCE_s
from experiments.firmware.foreign.findings import findings_of as found_in
from experiments.firmware.foreign.host import Host, Running, started
from experiments.firmware.foreign.records import Words, shared_words
from experiments.firmware.toolchain import find_compiler
from experiments.simulation.coupled import CHANNELS, DIVERGED
from experiments.simulation.simulate import Ready, Run, finished, orders_of
from plant.errors import InputError

POLL_s = 0.02
FLAGS = ("-std=c99", "-O2", "-g", "-ffp-contract=off", "-fstack-protector-strong", "-fPIC", "-shared")
NO_SAMPLES: Words = np.zeros((0, records.SAMPLE_WORDS), np.int64)
HERE = Path(__file__).parent
BEGINNINGS = {
    child.NO_LIBRARY: "cannot be loaded as a shared library of this machine",
    child.NO_FUNCTION: f"lacks one of {', '.join(child.FUNCTIONS)}",
    child.OTHER_ABI: "servo_abi() does not return SERVO_ABI of this version's pressure_servo.h",
}


class Given(NamedTuple):
    """A firmware that a study runs again and again: where it is, and a sum over its files."""

    path: str
    digest: str


def given_at(path: Path) -> Given:
    """What a user named, so that another one is noticed. Raises InputError for what is not there."""
    files = sources_of(path) or [path]
    if path.is_dir():
        files = sorted([*files, *path.glob("*.h")])
    digest = hashlib.sha256()
    for file in files:
        try:
            digest.update(file.read_bytes())
        except OSError as error:
            raise InputError(f"--firmware {path}: cannot be read: {error.strerror or error}") from None
    return Given(str(path.resolve()), digest.hexdigest())


@dataclass(frozen=True)
class Watched:
    """A run with somebody's firmware: what it did until it ended, and what was found."""

    run: Run | None  # None when it did not get to its first tick
    findings: list[Finding]
    ticks_per_s: float
    samples: Words  # what the firmware was given on each tick up to its end, shape (ticks, 8)
    board: BoardFigures | None = None  # where it ran on one


@dataclass(frozen=True)
class BoardPlan:
    """The emulated board a firmware is to run on."""

    processor: Processor
    clock_Hz: float


def built_library(given: Path, folder: Path) -> Path:
    """A shared library of what the user gave: built from C, or copied, so that each run loads it afresh.

    Raises InputError for what is neither, or does not compile.
    """
    target = folder / "firmware.so"
    sources = sources_of(given)
    if sources:
        return _compiled(given, sources, target)
    try:
        target.write_bytes(given.read_bytes())
    except OSError as error:
        raise InputError(f"--firmware {given}: cannot be read: {error.strerror or error}") from None
    return target


def sources_of(given: Path) -> list[Path]:
    """C files of what the user gave; none where it is something else. Raises InputError for what is not there."""
    sources = [given] if given.suffix == ".c" else []
    if given.is_dir():
        sources = sorted(path for path in given.glob("*.c") if path.name not in ("check.c", "vectors.c", "replay.c"))
        if not sources:
            raise InputError(f"--firmware {given}: no C file in this folder")
    for path in sources:
        if not path.is_file():
            raise InputError(f"--firmware {path}: there is no such file")
    return sources


def image_of(given: Path, processor: Processor, folder: Path) -> Image:
    """What runs on an emulated processor: built from C, or an ELF file as it is. Raises InputError."""
    sources = sources_of(given)
    return build_image(given, sources, processor, folder) if sources else read_image(given, processor)


def _compiled(given: Path, sources: list[Path], target: Path) -> Path:
    names = [str(path.resolve()) for path in sources]
    done = find_compiler().run([*FLAGS, f"-I{HERE}", *names, "-o", str(target), "-lm"])
    if done.returncode != 0:
        wrong = next((line for line in done.stderr.splitlines() if "error" in line), done.stderr.strip()[:200])
        raise InputError(f"--firmware {given}: does not compile: {wrong}")
    return target


def run_foreign(
    ready: Ready, given: Path, progress: Callable[[float], None] | None = None, plan: BoardPlan | None = None,
    host: Host | None = None,
) -> Watched:
    """Run a firmware against a plant in a process of its own, on this machine or an emulated board.

    Nothing of it is left behind. `host` is for many runs. Raises InputError for a firmware that cannot be built or
    loaded; all that it does later is a finding.
    """
    with tempfile.TemporaryDirectory(prefix="cuffloop-") as place:
        target: str | Image = image_of(given, plan.processor, Path(place)) if plan else \
            str(built_library(given, Path(place)))
        memory = Path(place) / "memory"
        words, trace = shared_words(memory, ready.ticks)
        arguments = (ready, target, str(memory))
        process = started(child.run_child, arguments) if host is None else host.run(arguments)
        try:
            hung, seconds = _watched(process, words[16:], ready.ticks, progress)
        finally:
            if process.is_alive():
                process.kill()
            process.join()
        code = process.exitcode or 0
        process.close()
        notes, rows, last = words[16:].copy(), trace.copy(), words[:8].copy()
        del words, trace
        counts = memory.with_name(child.COUNTS)
        desk = np.fromfile(counts, np.int64, desk_words.DESK_WORDS) if counts.exists() else None
    if code in BEGINNINGS and not notes[records.STARTED]:
        raise InputError(f"--firmware {given}: {BEGINNINGS[code]}")
    told = _told(ready, notes, rows, code, hung, seconds)
    if plan is not None and isinstance(target, Image) and desk is not None:
        figures = figures_of(target, plan.clock_Hz, ready.period_s, desk)
        told = _on_board(told, figures, int(notes[records.TICK]), desk, hung)
    return replace(told, samples=given_samples(ready, rows, last, int(notes[records.TICK])))


def _on_board(told: Watched, figures: BoardFigures, tick: int, desk: Words, hung: bool) -> Watched:
    """A run with what the board adds: its figures, where it failed, and whether a tick fits."""
    findings = list(told.findings)
    if hung and findings:
        place = figures.image.where(int(desk[desk_words.BLOCK_AT]))
        findings[0] = replace(findings[0], text=f"{findings[0].text}, in {place}")
    findings += [Finding(*row) for row in findings_of(figures, tick, desk)]
    return replace(told, board=figures, findings=findings)


def given_samples(ready: Ready, rows: Any, last: Words, tick: int) -> Words:
    """The records of samples of ticks 0 … `tick`; that of the last is as it was found."""
    out = np.zeros((max(tick + 1, 0), records.SAMPLE_WORDS), np.int64)
    if len(out) == 0:
        return out
    orders, seen, reals = orders_of(ready).part(0, tick), rows[:tick], out[:-1].view(np.float64)
    out[:-1, 0], out[:-1, 1] = np.arange(tick), orders.mode
    reals[:, 2], reals[:, 3] = seen[:, CHANNELS.index("light")], seen[:, CHANNELS.index("reading_mmHg")]
    reals[:, 4], reals[:, 5], reals[:, 6] = orders.fill_mmHg, orders.set_point, orders.light_slope
    reals[:, 7] = ready.period_s
    out[-1] = last
    return out


class Progress:
    """Whether a process that shares its notes goes on."""

    def __init__(self, notes: Words) -> None:
        self._notes = notes
        self._moved = self.begun = 0.0  # on this machine's clock; 0: not yet
        self._last = -2

    def stuck(self) -> bool:
        """Whether it has begun, and no tick has come for as long as one waits."""
        if not self._notes[records.STARTED]:
            return False
        now, tick = time.monotonic(), int(self._notes[records.TICK])
        self.begun = self.begun or now
        if tick != self._last:
            self._moved, self._last = now, tick
        return now - self._moved > PATIENCE_s


def _watched(
    process: Running, notes: Words, ticks: int, progress: Callable[[float], None] | None
) -> tuple[bool, float]:
    """Wait until a process ends or stands still; whether it stood still, and for how long it ran its ticks [s]."""
    seen = Progress(notes)
    while process.is_alive():
        process.join(POLL_s)
        if seen.stuck() and notes[records.DONE] < ticks:
            return True, time.monotonic() - seen.begun
        if progress is not None and seen.begun:
            progress(min(1.0, (int(notes[records.TICK]) + 1) / ticks))
    return False, max(time.monotonic() - seen.begun, POLL_s) if seen.begun else 0.0


def _told(ready: Ready, notes: Any, rows: Any, code: int, hung: bool, seconds: float) -> Watched:
    """What became of a run."""
    tick, done, status = (int(notes[word]) for word in (records.TICK, records.DONE, records.STATUS))
    findings = found_in(notes, code, hung, ready.ticks, ready.loop.firmware.coefficients)
    count = done if done == ready.ticks or status else max(tick, 0)
    if count < 2:
        return Watched(None, findings, 0.0, NO_SAMPLES)
    if notes[records.DONE] == count:  # by the process's own clock
        seconds = 1e-9 * int(notes[records.SPENT_ns])
    columns = {name: np.ascontiguousarray(rows[:count, i]) for i, name in enumerate(CHANNELS)}
    run = finished(ready, columns, status == DIVERGED, ready.start)
    return Watched(run, findings, count / seconds if seconds > 0.0 else 0.0, NO_SAMPLES)
