"""`cuffloop margins`: the margins of a rig's loop at some pressures."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.margins import margins


@dataclass(frozen=True, kw_only=True)
class MarginsOptions(Options):
    """What `cuffloop margins` takes."""

    rig: str = "wrist"
    at: list[float] | None = None
    until: str | None = None
    requirements: Path | None = None
    response: Path | None = None


def margins_job(options: MarginsOptions) -> int:
    """`cuffloop margins`: 0 when every loop is stable (and its limits are kept, with --until), 1 when not."""
    rig = rig_from(options.rig, options)
    return deliver(options, "margins", lambda: margins(
        rig, options.at or [90.0], until=options.until, requirements=options.requirements,
        response=options.response))
