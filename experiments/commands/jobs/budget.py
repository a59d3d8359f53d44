"""`cuffloop budget`: what each part of a rig costs, and which spreads matter."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import StudyOptions, deliver, rig_from
from experiments.front.budget import KEPT, budget


@dataclass(frozen=True, kw_only=True)
class BudgetOptions(StudyOptions):
    """What `cuffloop budget` takes."""

    rig: str = "wrist"
    at: float = 90.0
    samples: int | None = None
    spread: float | None = None
    seed: int = 1


def budget_job(options: BudgetOptions) -> int:
    """`cuffloop budget`: always 0; a rig that is unstable is refused."""
    rig = rig_from(options.rig, options, KEPT)
    return deliver(options, "Sobol indices", lambda: budget(
        rig, options.at, samples=options.samples, spread=options.spread, seed=options.seed, work=options.work()),
        kept=KEPT)
