"""`cuffloop fingers`: virtual fingers as a table, printed by quantiles or written as CSV."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver
from experiments.front.fingers import fingers


@dataclass(frozen=True, kw_only=True)
class FingersOptions(Options):
    """What `cuffloop fingers` takes."""

    group: str = "mixed"
    count: int = 100
    seed: int = 1


def fingers_job(options: FingersOptions) -> int:
    """0; every parameter by quantiles, and with a folder a table of all fingers in `fingers.csv`."""
    return deliver(options, "fingers", lambda: fingers(options.group, options.count, seed=options.seed))
