"""`cuffloop fmu`: a rig's controller, plant or loop as a unit of FMI 3.0."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.firmware.fmu import fmu


@dataclass(frozen=True, kw_only=True)
class FmuOptions(Options):
    """What `cuffloop fmu` takes."""

    rig: str = "wrist"
    part: str = "loop"
    system: tuple[str, ...] = ()
    arterial: float = 90.0
    seed: int = 1


def fmu_job(options: FmuOptions) -> int:
    """0 when the unit is made."""
    rig = rig_from(options.rig, options)
    return deliver(options, "building", lambda: fmu(
        rig, options.part, systems=options.system, arterial_mmHg=options.arterial, seed=options.seed))
