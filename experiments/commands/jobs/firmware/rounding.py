"""`cuffloop rounding`: what word length a rig's law needs in fixed point."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.rounding import rounding


@dataclass(frozen=True, kw_only=True)
class RoundingOptions(Options):
    """What `cuffloop rounding` takes."""

    rig: str = "wrist"
    words: str = "12:32"
    record: str | None = None
    seconds: float | None = None
    start: float = 0.0
    range_mmHg: float | None = None
    seed: int = 1


def rounding_job(options: RoundingOptions) -> int:
    """0 when some length is long enough, else 1."""
    rig = rig_from(options.rig, options)
    return deliver(options, "word lengths", lambda: rounding(
        rig, options.words, options.record, seconds=options.seconds, start_s=options.start,
        range_mmHg=options.range_mmHg, seed=options.seed))
