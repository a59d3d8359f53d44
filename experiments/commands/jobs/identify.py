"""`cuffloop identify`: from a sheet of recordings to a rig file."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver
from experiments.front.identify import identify
from experiments.identify.recording.sheet import known_from


@dataclass(frozen=True, kw_only=True)
class IdentifyOptions(Options):
    """What `cuffloop identify` takes."""

    sheet: Path
    base: str | None = None
    free: str = "valve,tube,cuff,transducer,timing"
    known: list[str] | None = None
    starts: int = 4
    quick: bool = False
    accept_misfit: bool = False
    seed: int = 1


def identify_job(options: IdentifyOptions) -> int:
    """0 when the recordings are explained and every number is told, else 1."""
    known = {name: (one.value, one.sd) for name, one in map(known_from, options.known or [])}
    free = [part.strip() for part in options.free.split(",") if part.strip()]
    return deliver(options, "identify", lambda: identify(
        options.sheet, base=options.base, free=free, known=known, starts=options.starts, full=not options.quick,
        accept_misfit=options.accept_misfit, seed=options.seed))
