"""`cuffloop simulate`: one run of a rig, and how well it followed."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.simulate import SimulateResult, simulate
from experiments.simulation.trace_file import check_trace_name, write_trace


@dataclass(frozen=True, kw_only=True)
class SimulateOptions(Options):
    """What `cuffloop simulate` takes."""

    rig: str = "wrist"
    record: str | None = None
    seconds: float | None = None
    start: float = 0.0
    seed: int = 1
    offset: float = 0.0
    volume_error: float = 0.0
    vent: float = 0.0
    trace: Path | None = None


def simulate_job(options: SimulateOptions) -> int:
    """`cuffloop simulate`: 0 when the clamp held to the end, 1 when the run diverged or stayed at a limit."""
    rig, trace = rig_from(options.rig, options), options.trace
    if trace is not None:
        check_trace_name(trace)

    def write(result: SimulateResult) -> None:
        if trace is not None:
            write_trace(trace, result.run, result.document())

    return deliver(options, "running the coupled loop", lambda: simulate(
        rig, options.record, seconds=options.seconds, start_s=options.start, seed=options.seed,
        offset_mmHg=options.offset, volume_error=options.volume_error, vent_s=options.vent), write)
