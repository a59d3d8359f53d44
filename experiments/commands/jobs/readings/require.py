"""`cuffloop require`: limits on readings and limits on the loop."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.readings.require import require


@dataclass(frozen=True, kw_only=True)
class RequireOptions(Options):
    """What `cuffloop require` takes."""

    rig: str = "wrist"
    output: float | None = None
    systolic: float | None = None
    diastolic: float | None = None
    mean: float | None = None
    variation: float | None = None
    at: float = 90.0
    level: float = 2.0


def require_job(options: RequireOptions) -> int:
    """`cuffloop require`: 0 when the rig keeps every limit, 1 when it misses one."""
    rig = rig_from(options.rig, options)
    return deliver(options, "solving", lambda: require(
        rig, output=options.output, systolic=options.systolic, diastolic=options.diastolic, mean=options.mean,
        variation=options.variation, at_mmHg=options.at, level_sd_mmHg=options.level))
