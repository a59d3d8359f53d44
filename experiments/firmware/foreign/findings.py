"""What was wrong with a firmware, told from how its process ended and what stands in the notes it shared."""
from __future__ import annotations

import signal
from dataclasses import dataclass

from controller.tick.law import Coefficients
from experiments.firmware.foreign import records
from experiments.firmware.foreign.records import Words

PATIENCE_s = 2.0  # without a tick


@dataclass(frozen=True)
class Finding:
    """Something wrong with a firmware, at a tick (−1: before the first)."""

    kind: str
    tick: int
    text: str


def findings_of(notes: Words, code: int, hung: bool, ticks: int, law: Coefficients) -> list[Finding]:
    """Findings of a run of so many ticks: of its end by the process's exit status, and of its commands."""
    tick, inside, done = int(notes[records.TICK]), bool(notes[records.INSIDE]), int(notes[records.DONE])
    status, findings = int(notes[records.STATUS]), []
    where = f"in servo_tick at tick {tick}" if inside else f"after tick {tick}"
    if tick < 0:
        where = "in servo_start"
    if hung:
        findings.append(Finding("hang", tick, f"no progress for {PATIENCE_s:g} s {where}: the process was ended"))
    elif code < 0:
        name = signal.Signals(-code).name
        note = ": the stack was smashed, or it gave up by itself" if name == "SIGABRT" else ""
        findings.append(Finding("crash", tick, f"{name} {where}{note}"))
    elif code > 0 or (inside and done < ticks and status != records.FAULT):
        findings.append(Finding("exit", tick, f"the process ended itself with status {code} {where}"))
    if status == records.NOT_FINITE:
        findings.append(Finding("not a number", tick, f"the command is not a finite number at tick {tick}"))
    beyond, first = int(notes[records.BEYOND]), int(notes[records.FIRST_BEYOND])
    if beyond:
        findings.append(Finding("range", first, f"commands beyond {law.output_low:g} … {law.output_high:g} on {beyond} "
                                f"ticks, first at tick {first}: held to the range"))
    return findings
