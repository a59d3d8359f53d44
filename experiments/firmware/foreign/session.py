"""A search's session whose ticks are run by somebody's firmware, in a process of its own.

The plan of the search stays here; each of its requests goes to that process as orders, through `pressure_servo.h`.
"""
from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from types import TracebackType
from typing import Any

from experiments.firmware.foreign import records
from experiments.firmware.foreign.child import HEAD, Asked, run_session
from experiments.firmware.foreign.findings import Finding, PATIENCE_s, findings_of
from experiments.firmware.foreign.host import Running, started
from experiments.firmware.foreign.records import shared_words
from experiments.firmware.foreign.watch import BEGINNINGS, POLL_s, Progress, built_library
from experiments.rigs.rig import Rig
from experiments.simulation.coupled import DIVERGED, Orders, RunState
from experiments.simulation.session import Samples, Session
from plant.assembly import Inputs
from plant.errors import InputError


@dataclass
class ForeignSession(Session):
    """One finger and one rig whose firmware is a library; `findings` say what was wrong with it."""

    given: Path = field(kw_only=True)  # what the user named
    place: Path = field(kw_only=True)  # a folder of its own

    def __post_init__(self) -> None:
        super().__post_init__()
        self.findings: list[Finding] = []
        self._ticks = len(self.inputs.arterial_mmHg) - 1
        memory = self.place / "memory"
        self._words, self._trace = shared_words(memory, self._ticks)
        self._door, other = get_context("spawn").Pipe()
        asked = Asked(self._loop, self.state, self.seed, self._ticks)
        library = str(built_library(self.given, self.place))
        self._process: Running | None = started(run_session, (asked, library, str(memory), other))
        other.close()

    def _run(self, inputs: Inputs, orders: Orders, rows: Samples) -> tuple[RunState, int, int]:
        notes, seen = self._words[HEAD:], Progress(self._words[HEAD:])
        first, answered, hung = self.state.tick, False, False
        try:
            self._door.send((inputs, orders))
            while not (answered or hung):
                answered = self._door.poll(POLL_s)
                hung = seen.stuck()
            if answered:
                state, status, done = self._door.recv()
                rows[:done] = self._trace[first : first + done]
                if status not in (records.NOT_FINITE, records.FAULT):
                    return state, status, done
                self._end(False)
                return state, status, done
        except (EOFError, ConnectionError):
            pass
        self._end(hung)
        done = max(int(notes[records.TICK]) - first, 0)
        rows[:done] = self._trace[first : first + done]
        return self.state._replace(tick=first + done), DIVERGED, done

    def _end(self, hung: bool) -> None:
        """What ended the firmware, into the findings. Raises InputError for one that cannot begin."""
        code = self.close(hung)
        if code in BEGINNINGS and not self._words[HEAD + records.STARTED]:
            raise InputError(f"--firmware {self.given}: {BEGINNINGS[code]}")
        if self.findings:
            self.ended = self.findings[0].text

    def close(self, hung: bool = False) -> int:
        """End the process, if it still runs; its exit status. Findings are complete afterwards."""
        if self._process is None:
            return 0
        self._door.close()
        self._process.join(0.0 if hung else PATIENCE_s)
        code = self._process.exitcode or 0
        if self._process.is_alive():
            self._process.kill()
        self._process.join()
        self._process.close()
        self._process = None
        self.findings = findings_of(self._words[HEAD:], code, hung, self._ticks, self._loop.firmware.coefficients)
        return code


class Sessions:
    """Makes sessions with a firmware, as a context that ends them all and removes what they wrote."""

    def __init__(self, given: Path) -> None:
        self.given = given
        self.made: list[ForeignSession] = []
        self._places: list[Any] = []

    def __enter__(self) -> Sessions:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for session in self.made:
            session.close()
        for place in self._places:
            place.cleanup()

    def __call__(self, rig: Rig, inputs: Inputs, seed: int, substeps: int) -> ForeignSession:
        """A session on a rig's finger. Raises InputError for a firmware that cannot be built."""
        self._places.append(tempfile.TemporaryDirectory(prefix="cuffloop-"))
        session = ForeignSession(rig, inputs, seed, substeps, given=self.given, place=Path(self._places[-1].name))
        self.made.append(session)
        return session

    @property
    def findings(self) -> list[Finding]:
        """Of all sessions; complete once they are closed."""
        return [finding for session in self.made for finding in session.findings]
