"""`cuffloop tune`: read, tune, print the table or JSON, write figures and the rig file."""
from __future__ import annotations

from pathlib import Path

from experiments.commands.jobs.common import LARGEST_SEED, bounded, progress_bar
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance


def tune_job(
    rig_name: str, fingers: int, group: str, percentile: float, slope_error: float | None, requirements: Path | None,
    seed: int, settings: list[str] | None, out: Path | None, as_json: bool,
) -> int:
    """0 when settings were found that keep every limit, 1 when not."""
    from experiments.design.tune.limits import margin_limits
    from experiments.design.tune.pictures import fingers_figure, sensitivity_figure, trade_off_figure
    from experiments.design.tune.study import check_options, tune
    from experiments.design.tune.text import tuned_rig_text, tuning_json, tuning_lines
    from experiments.rigs.requirements import default_requirements, load_requirements
    from experiments.subjects.table import chosen_fingers

    rig = load_rig(rig_name, settings)
    check_options(fingers, percentile, slope_error)
    bounded("--seed", seed, 0, LARGEST_SEED)
    limits = margin_limits(load_requirements(requirements or default_requirements(rig.base)))
    people = chosen_fingers(fingers, group, seed)
    with OutputFolder.open(out) as folder:
        with progress_bar(f"tuning {rig.name}", as_json) as progress:
            result = tune(rig, people, limits, percentile, slope_error, group, seed, progress)
        document = tuning_json(result) | provenance(seed)
        if folder:
            folder.write_json("tune.json", document)
            folder.write_text("tuned.toml", tuned_rig_text(result))
            folder.write_figures({
                "trade_off": lambda: trade_off_figure(result), "sensitivity": lambda: sensitivity_figure(result),
                "fingers": lambda: fingers_figure(result),
            })
    if as_json:
        print_json(document)
    else:
        print_lines(tuning_lines(result), folder)
    return 0 if result.passed else 1
