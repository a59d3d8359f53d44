"""`cuffloop excite`: commands to be played on a bench."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.excite import excite
from experiments.rigs.rig import load_rig


@dataclass(frozen=True, kw_only=True)
class ExciteOptions(Options):
    """What `cuffloop excite` takes."""

    rig: str = "wrist"
    parts: str = "valve,tube,cuff,transducer,timing"
    ceiling: float = 250.0
    rate: float = 5000.0
    seconds: float = 12.0
    play: str | None = None
    seed: int = 1


def excite_job(options: ExciteOptions) -> int:
    """Always 0: there is nothing to judge."""
    rig = rig_from(options.rig, options)
    player = None if options.play is None else load_rig(options.play)
    parts = [part.strip() for part in options.parts.split(",") if part.strip()]
    return deliver(options, "excite", lambda: excite(
        rig, parts, ceiling_mmHg=options.ceiling, rate_Hz=options.rate, seconds=options.seconds, play=player,
        seed=options.seed))
