"""Somebody's firmware judged as `check` judges a rig: a search that it serves, a run at what that found, verdict."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.check.check import (
    SEARCHED,
    USUAL_SEARCH,
    calibration_figures,
    judge_record,
    run_tracking,
    tracking_figures,
)
from experiments.check.record_text import record_json, record_lines
from experiments.check.text import calibration_json, calibration_lines, run_json, run_lines, verdict_lines
from experiments.check.tracking import Tracking
from experiments.firmware.foreign.findings import Finding
from experiments.firmware.foreign.host import Host
from experiments.firmware.foreign.session import Sessions
from experiments.firmware.foreign.watch import Watched, run_foreign
from experiments.rigs.requirements import Verdict, judge
from experiments.rigs.rig import Rig
from experiments.simulation.set_point import Calibration, calibrate
from experiments.simulation.simulate import prepare
from experiments.work.output import CAUTION
from plant.pressure.record import PressureTrace

LEFT_OUT = "margins and phase budget are of the rig's own law: left out, with the limits on them"


@dataclass(frozen=True)
class FirmwareCheck:
    """What `cuffloop check --firmware` found."""

    rig: Rig
    trace: PressureTrace
    firmware: str
    calibration: Calibration
    watched: Watched  # the run at the set point that was found, or at the true one after a failure
    searching: list[Finding]  # of the search
    tracking: Tracking | None
    best: Tracking | None  # of the same at the true set point
    verdicts: list[Verdict]

    @property
    def findings(self) -> list[Finding]:
        """All of them, those of the search first."""
        return [*self.searching, *self.watched.findings]

    @property
    def passed(self) -> bool:
        """Whether there is no finding, a set point was found, the run ended, and every limit that counts is kept."""
        run = self.watched.run
        ended = run is not None and run.status == "done" and self.calibration.found is not None
        return ended and not self.findings and all(v.passed for v in self.verdicts) and not self.narrow

    @property
    def narrow(self) -> bool:
        """Whether the record lacks the quick part of a pulse, so that limits kept on it prove nothing."""
        return self.trace.quality is not None and self.trace.quality.narrow

    def lines(self) -> list[str]:
        """What is printed."""
        lines = [*record_lines(self.trace), "", f"firmware {self.firmware} on {self.rig.name}; {LEFT_OUT}"]
        lines += [f"FINDING {f.kind} in the search: {f.text}" for f in self.searching]
        lines += [f"FINDING {f.kind} in the run: {f.text}" for f in self.watched.findings]
        lines += [] if self.findings else ["no finding"]
        lines += ["", *calibration_lines(self.calibration, self.tracking, self.best)]
        if self.watched.run is not None:
            lines += ["", *run_lines(self.watched.run, self.tracking)]
        lines += ["", *verdict_lines(self.verdicts), ""]
        lines.append(f"{'PASS' if self.passed else 'FAIL'}: {self.firmware} on {self.rig.name} and {self.trace.name}")
        return [*lines, CAUTION]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        run = self.watched.run
        return {
            "firmware": self.firmware, "passed": self.passed, "ticks_per_s": self.watched.ticks_per_s,
            "findings": [{"in": place, **finding.__dict__} for place, found in
                         (("search", self.searching), ("run", self.watched.findings)) for finding in found],
            "verdicts": [{**v._asdict(), "passed": v.passed} for v in self.verdicts],
            **calibration_json(self.calibration, self.best), **record_json(self.trace),
            **({} if run is None else run_json(run, self.tracking)),
        }

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """tracking, where there is a run."""
        from experiments.check.pictures_run import tracking_figure

        run = self.watched.run
        if run is None:
            return {}
        title = f"{self.firmware} on {run.rig.name}, {run.trace.name}: {'pass' if self.passed else 'fail'}"
        return {"tracking": lambda: tracking_figure(run, self.tracking, title)}


def check_firmware(
    rig: Rig, trace: PressureTrace, given: Path, requirements: dict[str, dict[str, float]], seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> FirmwareCheck:
    """Judge a firmware on a rig's plant and a record: `experiments.check.check` with another servo.

    Set-point search and confirmation are the rig's, and ask the firmware by its orders. Raises InputError for what
    cannot be judged, built or begun.
    """
    judge_record(trace)
    with Sessions(given) as sessions:
        calibration = calibrate(rig, trace, USUAL_SEARCH, seed, sessions)
    found = calibration.found
    with Host() as host:
        watched = run_foreign(prepare(rig, trace, SEARCHED, seed, found=found), given, progress, host=host)
        best = watched if found is None else run_foreign(prepare(rig, trace, SEARCHED, seed), given, host=host)
    tracked, at_best = (run_tracking(one.run) if one.run is not None else None for one in (watched, best))
    figures = calibration_figures(calibration)
    if watched.run is not None:
        figures |= tracking_figures(watched.run, tracked)
    limits = {name: limit for name, limit in requirements.items() if name in figures}
    return FirmwareCheck(rig, trace, given.name, calibration, watched, sessions.findings, tracked, at_best,
                         judge(limits, figures))
