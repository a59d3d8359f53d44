"""`cuffloop wear`: whether a plan of turns keeps to its limits, and what each finger bears."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver
from experiments.front.wear import wear


@dataclass(frozen=True, kw_only=True)
class WearOptions(Options):
    """What `cuffloop wear` takes."""

    hours: float = 72.0
    fingers: int = 2
    turn: float = 60.0
    pause: float = 0.0
    mean: float = 90.0


def wear_job(options: WearOptions) -> int:
    """0 when the plan is accepted, 1 when it is refused."""
    return deliver(options, "wear", lambda: wear(
        options.hours, options.fingers, turn_min=options.turn, pause_min=options.pause, mean_mmHg=options.mean))
