"""`cuffloop tune`: settings that track best on every finger, beside classical rules and the limit."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front import tune as front


@dataclass(frozen=True, kw_only=True)
class TuneOptions(Options):
    """What `cuffloop tune` takes."""

    rig: str = "wrist"
    fingers: int = 500
    group: str = "mixed"
    percentile: float = 100.0
    slope_error: float | None = None
    requirements: Path | None = None
    structure: str | None = None
    response: Path | None = None
    seed: int = 1


def tune_job(options: TuneOptions) -> int:
    """0 when settings were found that keep every limit and the simulation bears out, 1 when not."""
    rig = rig_from(options.rig, options)
    rarer = front.TuneOptions(options.slope_error, options.structure, options.response)
    return deliver(options, f"tuning {rig.name}", lambda: front.tune(
        rig, options.fingers, group=options.group, percentile=options.percentile, requirements=options.requirements,
        options=rarer, seed=options.seed))
