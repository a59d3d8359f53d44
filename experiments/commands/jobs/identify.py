"""`cuffloop excite`, `cuffloop identify`: commands for a bench, and from a sheet of recordings to a rig file."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.identify import excite, identify
from experiments.identify.recording.sheet import known_from
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
