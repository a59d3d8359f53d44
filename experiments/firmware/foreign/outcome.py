"""A run with somebody's firmware, judged: findings first, then what `check` says of a run's tracking."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from experiments.check.check import SEARCHED, run_tracking, tracking_figures
from experiments.check.text import run_json, run_lines, verdict_lines
from experiments.check.tracking import Tracking
from experiments.firmware.board.figures import BoardFigures
from experiments.firmware.foreign.findings import Finding
from experiments.firmware.foreign.watch import BoardPlan, Watched, run_foreign, sources_of
from experiments.firmware.package.package import write_code
from experiments.rigs.requirements import Verdict, judge
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Run, prepare
from plant.pressure.record import PressureTrace

REPLAY = """/* Gives the firmware the samples of replay.bin again, up to the tick of the finding. Build both together:
 * cc -std=c99 -g -I. replay.c my.c -lm && ./a.out replay.bin */
#include <stdio.h>
#include "pressure_servo.h"
static double state[SERVO_STATE_BYTES / sizeof(double)];
int main(int count, char **texts)
{
    servo_samples in;
    servo_outcome out = {0};
    FILE *file = (count == 2) ? fopen(texts[1], "rb") : NULL;
    servo_start(state, PERIOD);
    while ((file != NULL) && (fread(&in, sizeof in, 1, file) == 1)) { servo_tick(state, &in, &out); }
    return printf("tick %ld, command %.17g\\n", (long)in.tick, out.command) < 0;
}
"""
HEADER = Path(__file__).parent / "pressure_servo.h"


@dataclass(frozen=True)
class LoopOutcome:
    """What `cuffloop loop` found."""

    rig: Rig
    firmware: str
    watched: Watched
    tracking: Tracking | None
    verdicts: list[Verdict]

    @property
    def passed(self) -> bool:
        """Whether there is no finding, the run ended, and every limit on tracking is kept."""
        run = self.watched.run
        ended = run is not None and run.status == "done"
        return ended and not self.watched.findings and all(v.passed for v in self.verdicts)

    def lines(self) -> list[str]:
        """What is printed."""
        found = self.watched
        lines = [f"firmware {self.firmware}: {found.ticks_per_s:,.0f} ticks/s with the plant"]
        lines += [f"FINDING {finding.kind}: {finding.text}" for finding in found.findings] or ["no finding"]
        if found.board is not None:
            lines += ["", *found.board.lines()]
        if found.run is not None:
            lines += ["", *run_lines(found.run, self.tracking)]
        if self.verdicts:
            lines += ["", *verdict_lines(self.verdicts)]
        return [*lines, "", "PASS" if self.passed else "FAIL"]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        run = self.watched.run
        return {
            "firmware": self.firmware, "passed": self.passed, "ticks_per_s": self.watched.ticks_per_s,
            "findings": [finding.__dict__ for finding in self.watched.findings],
            "verdicts": [{**v._asdict(), "passed": v.passed} for v in self.verdicts],
            **({} if self.watched.board is None else {"board": self.watched.board.document()}),
            **({} if run is None else run_json(run, self.tracking)),
        }

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """tracking, where there is a run."""
        from experiments.check.pictures_run import tracking_figure

        run = self.watched.run
        if run is None:
            return {}
        title = f"{self.firmware} on {run.rig.name}, {run.trace.name}"
        return {"tracking": lambda: tracking_figure(run, self.tracking, title)}

    def replay(self) -> dict[str, bytes]:
        """Files that lead a debugger to the tick of a finding; none without one that ended the run."""
        ending: list[Finding] = [f for f in self.watched.findings if f.kind != "range"]
        if not ending or len(self.watched.samples) == 0:
            return {}
        text = REPLAY.replace("PERIOD", repr(self.rig.timing.period_s))
        return {"replay.c": text.encode(), "replay.bin": self.watched.samples.tobytes(),
                "pressure_servo.h": HEADER.read_bytes()}


@dataclass(frozen=True)
class FirmwareChoice:
    """Whose firmware runs, and on what: a file or folder, or the rig's own as C; this machine, or a board."""

    given: Path | None
    plan: BoardPlan | None = None
    number: str = "double"
    words: int | None = None  # bits, where the number is fixed

    @property
    def name(self) -> str:
        """What it is called in a report."""
        return self.given.name if self.given else f"the rig's own, {self.number}"


def loop_outcome(
    rig: Rig, trace: PressureTrace, choice: FirmwareChoice, requirements: dict[str, dict[str, float]], seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> LoopOutcome:
    """Run a firmware at the true set point of a record and judge its tracking. Raises InputError.

    On a board it is run on this machine too, from the same C, and compared value by value. Limits on margins and on
    the search are of the rig's own law and are left out.
    """
    ready = prepare(rig, trace, SEARCHED, seed)  # as check begins: an empty cuff handed over too early throws it
    with TemporaryDirectory(prefix="cuffloop-") as place:
        given = choice.given or Path(place)
        if choice.given is None:
            write_code(rig, choice.number, given, choice.words)
        watched = run_foreign(ready, given, progress, choice.plan)
        if watched.board is not None and watched.run is not None and sources_of(given):
            here = run_foreign(ready, given)
            watched = replace(watched, board=compared(watched.board, watched.run, here.run))
    run = watched.run
    found = run_tracking(run) if run is not None else None
    figures = tracking_figures(run, found) if run is not None else {}
    limits = {name: limit for name, limit in requirements.items() if name in figures}
    return LoopOutcome(rig, choice.name, watched, found, judge(limits, figures))


def compared(board: BoardFigures, run: Run, other: Run | None) -> BoardFigures:
    """The figures with how many recorded values differ from those of another run, not a number being like itself."""
    if other is None:
        return board
    differing = count = 0
    for name, values in run.channels.items():
        both = min(len(values), len(other.channels[name]))
        first, second = values[:both], other.channels[name][:both]
        differing += int(np.sum((first != second) & ~((first != first) & (second != second))))
        differing += max(len(values), len(other.channels[name])) - both
        count += max(len(values), len(other.channels[name]))
    return replace(board, differing=differing, compared=count)
