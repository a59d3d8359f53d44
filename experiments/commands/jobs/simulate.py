"""`cuffloop simulate`: one run of a rig, and how well it followed."""
from __future__ import annotations

from pathlib import Path

from experiments.commands.jobs.common import LONGEST_s, bounded, pressure_source, progress_bar
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance


def simulate_job(
    rig_name: str, record: str | None, seconds: float | None, start_s: float, seed: int, settings: list[str] | None,
    offset_mmHg: float, volume_error: float, vent_s: float, trace_file: Path | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop simulate`: 0 when the clamp held to the end, 1 when the run diverged or stayed at a limit."""
    from experiments.check.check import run_tracking
    from experiments.check.text import run_json, run_lines
    from experiments.simulation.simulate import Plan, simulate
    from experiments.simulation.trace_file import check_trace_name, write_trace

    rig = load_rig(rig_name, settings)
    bounded("--offset", offset_mmHg, -200.0, 200.0, "mmHg")
    bounded("--volume-error", volume_error, -0.95, 0.95)
    bounded("--vent", vent_s, 0.0, LONGEST_s, "s")
    if trace_file is not None:
        check_trace_name(trace_file)
    trace = pressure_source(rig, record, seconds, start_s, seed)
    plan = Plan(vent_s=vent_s, offset_mmHg=offset_mmHg, set_point_error=volume_error)
    with OutputFolder.open(out) as folder:
        with progress_bar("running the coupled loop", as_json) as progress:
            run = simulate(rig, trace, plan, seed, progress=progress)
        found = run_tracking(run)
        document = run_json(run, found) | provenance(seed)
        if folder:
            from experiments.check.pictures_run import tracking_figure

            folder.write_json("simulate.json", document)
            folder.write_figures({"tracking": lambda: tracking_figure(run, found, f"{rig.name} on {trace.name}")})
        if trace_file is not None:
            write_trace(trace_file, run, document)
    if as_json:
        print_json(document)
    else:
        print_lines(run_lines(run, found), folder)
    return 0 if run.status == "done" else 1
