"""`cuffloop simulate`: one run of a rig, and how well it followed."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.commands.jobs.common import Options, deliver, record_from, rig_from
from experiments.front.inputs import LONGEST_s, RecordLike, SYNTHETIC_s, bounded
from experiments.front.simulate import SimulateResult, simulate
from experiments.simulation.trace_file import check_trace_name, write_trace
from experiments.subjects.finger import Finger, finger_pressure, on_finger
from experiments.subjects.population import find_finger
from plant.pressure.record import PressureTrace


@dataclass(frozen=True, kw_only=True)
class SimulateOptions(Options):
    """What `cuffloop simulate` takes."""

    rig: str = "wrist"
    finger: str | None = None
    record: str | None = None
    columns: str | None = None
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

    record: RecordLike = record_from(options.record, options.columns, options.seconds, options.start)
    part: dict[str, Any] = {"seconds": options.seconds, "start_s": options.start}
    if options.finger is not None:
        finger = find_finger(options.finger)
        rig = on_finger(rig, finger)
        if record is None:
            record, part = own_pressure(finger, rig.timing.period_s, options.seconds, options.start), {}

    def write(result: SimulateResult) -> None:
        if trace is not None:
            write_trace(trace, result.run, result.document())

    return deliver(options, "running the coupled loop", lambda: simulate(
        rig, record, seed=options.seed, offset_mmHg=options.offset, volume_error=options.volume_error,
        vent_s=options.vent, **part), write)


def own_pressure(finger: Finger, period_s: float, seconds: float | None, start_s: float) -> PressureTrace:
    """So many seconds (None: 30) of a finger's own arterial pressure from a moment on. Raises InputError."""
    bounded("--start", start_s, 0.0, LONGEST_s, "s")
    wanted = SYNTHETIC_s if seconds is None else seconds
    bounded("--seconds", wanted, period_s, LONGEST_s, "s")
    trace, first = finger_pressure(finger, period_s, start_s + wanted), round(start_s / period_s)
    return trace._replace(pressure_mmHg=trace.pressure_mmHg[first:], usable=trace.usable[first:])
