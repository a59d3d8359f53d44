"""`cuffloop agree`: two files of measurements held against each other."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver
from experiments.front.readings.agree import agree


@dataclass(frozen=True, kw_only=True)
class AgreeOptions(Options):
    """What `cuffloop agree` takes."""

    tested: Path
    reference: Path
    column: str
    unit: str
    truth: str
    zone: float | None
    reference_precision: float | None
    iso: bool


def agree_job(options: AgreeOptions) -> int:
    """`cuffloop agree`: always 0; it describes, and what is good enough is for whoever asks."""
    return deliver(options, "comparing", lambda: agree(
        options.tested, options.reference, column=options.column, unit=options.unit, truth=options.truth,
        zone=options.zone, reference_precision=options.reference_precision, standard=options.iso))
