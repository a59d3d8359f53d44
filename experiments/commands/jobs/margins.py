"""`cuffloop margins`: the margins of a rig's loop at some pressures."""
from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from experiments.commands.jobs.common import bounded
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance


def margins_job(
    rig_name: str, pressures_mmHg: list[float] | None, settings: list[str] | None, out: Path | None, as_json: bool
) -> int:
    """`cuffloop margins`: 0 when every loop is stable, 1 when one is not."""
    from controller.margins.budget import phase_budget
    from experiments.check.check import judge_loops, worst_of
    from experiments.check.text import loops_json, margin_figures_of, margins_lines

    rig = load_rig(rig_name, settings)
    for pressure in pressures_mmHg or []:
        bounded("--at", pressure, 10.0, 300.0, "mmHg")
    points = {f"{p:g} mmHg": p for p in pressures_mmHg or [90.0]}
    loops = judge_loops(rig, points)
    worst = worst_of(loops)
    rows = phase_budget(worst.loop, worst.margins.crossover_Hz) if math.isfinite(worst.margins.crossover_Hz) else []
    document: dict[str, Any] = {"rig": rig.name, **loops_json(loops, worst, rows)} | provenance(None)
    with OutputFolder.open(out) as folder:
        if folder:
            folder.write_json("margins.json", document)
            folder.write_figures(margin_figures_of(rig.name, loops, worst, rows))
    if as_json:
        print_json(document)
    else:
        print_lines(margins_lines(rig.name, loops, worst, rows), folder)
    return 0 if all(j.margins.stable for j in loops) else 1
