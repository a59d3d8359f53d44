"""`cuffloop budget`: what each part of a rig costs, and which spreads matter."""
from __future__ import annotations

from pathlib import Path

from experiments.commands.jobs.common import LARGEST_SEED, bounded, engine_of, progress_bar
from experiments.design.budget.sensitivity import budget
from experiments.design.budget.sobol import USUAL_SPREAD, Study, available, sobol_study
from experiments.design.budget.text import budget_json, budget_lines
from experiments.rigs.rig import read_rig
from experiments.rigs.trust import refuse_when_resumed
from experiments.subjects.bands import usual_bands
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError

USUAL_SAMPLES = 128
MOST_SAMPLES = 65536
NO_SALIB = "no Sobol indices: they need the package SALib: pip install 'cuffloop[sensitivity]'"


def budget_job(
    rig_name: str, arterial_mmHg: float, samples: int | None, spread: float | None, seed: int, workers: int | None,
    address: str | None, settings: list[str] | None, out: Path | None, as_json: bool,
    trust: bool = False,
) -> int:
    """`cuffloop budget`: always 0; a rig that is unstable is refused."""
    refuse_when_resumed(rig_name, settings, trust, out and out / "budget-chunks")
    source = read_rig(rig_name, settings)
    bounded("--at", arterial_mmHg, 10.0, 300.0, "mmHg")
    bounded("--seed", seed, 0, LARGEST_SEED - 1)
    wide = USUAL_SPREAD if spread is None else spread
    bounded("--spread", wide, 0.001, 0.5)
    count = USUAL_SAMPLES if samples is None else samples
    if not (count == 0 or (8 <= count <= MOST_SAMPLES and count & (count - 1) == 0)):
        raise InputError(f"--samples {count} must be 0 or a power of two from 8 to {MOST_SAMPLES}")
    engine = engine_of(workers, address)
    bands = usual_bands(source.rig().timing.period_s)
    found = budget(source, arterial_mmHg, bands)
    study: Study | None = None
    note = NO_SALIB if count and samples is None and not available() else ""
    with OutputFolder.open(out) as folder:
        if count and not note:
            with progress_bar("Sobol indices", as_json) as progress:
                study = sobol_study(found, bands, wide, count, seed, out / "budget-chunks" if out else None, engine,
                                    progress)
        document = budget_json(found, study) | provenance(seed)
        if folder:
            from experiments.design.budget.pictures import sobol_figure, steps_figure

            folder.write_json("budget.json", document)
            figures = {"budget": lambda: steps_figure(found)}
            folder.write_figures(figures if study is None else figures | {"sobol": lambda: sobol_figure(found, study)})
    if as_json:
        print_json(document)
    else:
        print_lines(budget_lines(found, study, note), folder)
    return 0
