"""A piece of a study of failures whose firmware is somebody's: every run in a fork of a process that holds the clamp.

The firmware runs up to the onset once; each failure goes on from there in a fork, which has all its memory. A failure
that is there from the start begins with a copy of the library that has never run. A firmware that dies is a finding,
and the run is repeated with a processor that stands still from that tick on: what the instrument does then counts.
"""
from __future__ import annotations

import ctypes
import os
import shutil
import signal
import sys
import tempfile
from contextlib import suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from experiments.firmware.foreign import records
from experiments.firmware.foreign.child import HEAD, bare_servo, loaded_servo
from experiments.firmware.foreign.findings import PATIENCE_s, findings_of
from experiments.firmware.foreign.protected import ForeignProtectedLoop
from experiments.firmware.foreign.records import Servo, shared_words
from experiments.firmware.foreign.watch import BEGINNINGS, POLL_s, Progress, built_library
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import find_faults
from experiments.safety.faults.fault import AT_START, Fault
from experiments.safety.faults.study import WIDTH, Piece, Plan, Samples, Told, bench_of, failure_rows, pair_rows
from experiments.safety.faults.trial import Bench, Outcome
from experiments.simulation.coupled import closed_loop
from experiments.simulation.protected import ProtectedLoop
from plant.errors import InputError

NEVER = 2**62  # a tick that no run reaches
FRESH = "fresh.so"  # the copy that has never run


def foreign_piece(plan: Plan, piece: Piece) -> Told:
    """All runs of one finger at one onset with somebody's firmware.

    Raises InputError for one that cannot be built or begun, and where the system cannot fork.
    """
    assert plan.firmware is not None
    given = Path(plan.firmware.path)
    if not hasattr(os, "fork"):
        raise InputError("--firmware: failures go on in forks of a process, which this system does not have")
    with tempfile.TemporaryDirectory(prefix="cuffloop-") as place:
        library = built_library(given, Path(place))
        shutil.copy(library, library.with_name(FRESH))
        memory = library.with_name("memory")
        words, _ = shared_words(memory, 0)
        notes = words[HEAD:]
        door, other = get_context("spawn").Pipe()
        process = get_context("spawn").Process(target=hold, args=(plan, piece, str(library), other))
        process.start()
        other.close()
        told, hung = None, False
        try:
            seen = Progress(notes)
            while told is None and not hung:
                if door.poll(POLL_s):
                    told = door.recv()
                hung = not notes[records.DONE] and seen.stuck()
        except (EOFError, ConnectionError):
            process.join(PATIENCE_s)
        finally:
            door.close()
            if told is None:
                process.terminate()  # in the firmware itself it does not listen
            process.join(PATIENCE_s)
            if process.is_alive():
                process.kill()
            process.join()
        code, law = process.exitcode or 0, closed_loop(load_rig(plan.rig, list(plan.settings)), 1).firmware.coefficients
        process.close()
    if told is not None:
        return told  # type: ignore[no-any-return]
    if code in BEGINNINGS and not notes[records.STARTED]:
        raise InputError(f"--firmware {given}: {BEGINNINGS[code]}")
    found = findings_of(notes, code, hung, NEVER, law)
    why = found[0].text if found else f"its process ended with status {code}"
    return Told(np.zeros((0, WIDTH)), f"{why}, before any failure", [f"before any failure: {why}"])


def hold(plan: Plan, piece: Piece, library: str, door: Connection) -> None:
    """The process that holds the clamp: runs the firmware up to the onset, and forks for each failure."""
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    words, _ = shared_words(Path(library).with_name("memory"), 0)
    notes = words[HEAD:]
    notes[records.DEAD_FROM], notes[records.TICK] = NEVER, -1
    rig = load_rig(plan.rig, list(plan.settings))
    servo = loaded_servo(bare_servo(closed_loop(rig, 1), words), library)
    served = Served(servo, notes)
    bench = bench_of(plan, piece, served)
    if notes[records.STATUS] == records.NOT_FINITE:
        return
    notes[records.DONE] = 1  # what comes now is watched here
    if isinstance(bench, str):
        door.send(Told(np.zeros((0, WIDTH)), bench, []))
        return
    faults = find_faults(",".join(plan.faults), rig, own_law=False)
    apart = Apart(bench, notes, Path(library).with_name(FRESH))
    rows = [*failure_rows(apart, faults, plan, piece), *pair_rows(apart, faults, plan, piece)]
    with suppress(ConnectionError):
        door.send(Told(np.array(rows), "", [f"{piece.finger.name}, {text}" for text in apart.findings]))


class Served:
    """Puts a firmware into a loop; the first time it is started, which counts as having begun."""

    def __init__(self, servo: Servo, notes: records.Words) -> None:
        self.servo, self._notes, self._begun = servo, notes, False

    def __call__(self, loop: ProtectedLoop) -> ForeignProtectedLoop:
        """The loop with the firmware."""
        if not self._begun:
            first = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_double)(self.servo.start)
            self._notes[records.STARTED], self._begun = 1, True
            first(self.servo.state.ctypes.data, loop.loop.clock.period_s)
            self._notes[records.STARTED] = 0  # compiling takes seconds without a tick
        return ForeignProtectedLoop(loop.loop, loop.safety, self.servo)


class Apart:
    """Runs failures on a bench in forks, and keeps what was found."""

    def __init__(self, bench: Bench, notes: records.Words, fresh: Path) -> None:
        self._bench, self._notes, self._fresh = bench, notes, fresh
        self.findings: list[str] = []

    def run(self, *faults: Fault, lost: tuple[str, ...] = ()) -> tuple[Outcome, Samples]:
        """Outcome of failures with protections taken away."""
        notes, law = self._notes, self._bench.loop.firmware.coefficients
        notes[records.DEAD_FROM], notes[records.BEYOND] = NEVER, 0
        outcome, code, hung = self._fork(faults, lost)
        begun = f"{' + '.join(fault.name for fault in faults)}{' without ' + lost[0] if lost else ''}"
        found = findings_of(notes, code, hung, 0 if outcome else NEVER, law)
        self.findings += [f"{begun}: {finding.text}" for finding in found]
        if outcome is None:
            notes[records.DEAD_FROM] = max(int(notes[records.TICK]), 0)
            outcome, code, _ = self._fork(faults, lost)
        if outcome is None:
            raise InputError(f"--firmware: {begun} could not be run to its end (status {code})")
        return outcome, np.zeros((0, 0))

    def _fork(self, faults: tuple[Fault, ...], lost: tuple[str, ...]) -> tuple[Outcome | None, int, bool]:
        """What came of a run, or nothing; its exit status, and whether it stood still."""
        self._notes[records.INSIDE] = self._notes[records.STATUS] = 0
        context = get_context("fork")
        door, other = context.Pipe()
        process: Any = context.Process(target=self._run, args=(faults, lost, other))
        process.start()
        other.close()
        seen, hung, outcome = Progress(self._notes), False, None
        try:
            while not hung and outcome is None:
                if door.poll(POLL_s):
                    outcome = door.recv()
                hung = seen.stuck()
        except (EOFError, ConnectionError):
            process.join()
        finally:
            if outcome is None:
                process.kill()
            process.join()
            door.close()
        code: int = process.exitcode
        process.close()
        return outcome, code, hung and outcome is None

    def _run(self, faults: tuple[Fault, ...], lost: tuple[str, ...], door: Connection) -> None:
        """What a fork does."""
        bench = self._bench
        if any(fault.onset == AT_START for fault in faults):
            assert isinstance(bench.served, Served)
            servo = bench.served.servo
            servo.state[:] = 0.0
            bench.served = Served(loaded_servo(servo, str(self._fresh)), self._notes)
        outcome, _ = bench.run(*faults, lost=lost)
        if self._notes[records.STATUS] != records.NOT_FINITE:
            door.send(outcome)
