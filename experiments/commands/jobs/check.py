"""`cuffloop check`: margins, tracking and verdict of a rig on a pressure record."""
from __future__ import annotations

from pathlib import Path

from experiments.commands.jobs.common import pressure_source, progress_bar
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance


def check_job(
    rig_name: str, record: str | None, requirements: Path | None, seconds: float | None, start_s: float, seed: int,
    settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """`cuffloop check`: 0 when every limit is kept, 1 when one is not."""
    from experiments.check.check import check
    from experiments.check.text import check_figures, check_json, check_lines
    from experiments.rigs.requirements import default_requirements, load_requirements

    rig = load_rig(rig_name, settings)
    limits = load_requirements(requirements or default_requirements(rig.base))
    trace = pressure_source(rig, record, seconds, start_s, seed)
    with OutputFolder.open(out) as folder:
        with progress_bar("running the coupled loop", as_json) as progress:
            result = check(rig, trace, limits, seed=seed, progress=progress)
        document = check_json(result) | provenance(seed)
        if folder:
            folder.write_json("check.json", document)
            folder.write_figures(check_figures(result))
    if as_json:
        print_json(document)
    else:
        print_lines(check_lines(result), folder)
    return 0 if result.passed else 1
