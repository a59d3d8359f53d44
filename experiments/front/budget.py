"""`cuffloop.budget`: what each part of a rig costs, and which spreads of its parts matter."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.design.budget import sensitivity, sobol
from experiments.design.budget.dataset import budget_dataset
from experiments.design.budget.text import budget_json, budget_lines
from experiments.front.inputs import HERE, LARGEST_SEED, RigLike, Work, bounded, source_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.subjects.bands import usual_bands
from experiments.work.output import provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

USUAL_SAMPLES = 128
MOST_SAMPLES = 65536
KEPT = "budget-chunks"
NO_SALIB = "no Sobol indices: they need the package SALib: pip install 'cuffloop[sensitivity]'"


@dataclass(frozen=True, eq=False, repr=False)
class BudgetResult(Result):
    """What `budget` found: steps and derivatives of every parameter, and Sobol indices where they were asked for."""

    found: sensitivity.Budget
    indices: sobol.Study | None
    note: str  # why there are no indices, where that needs saying

    @property
    def file_name(self) -> str:
        """budget."""
        return "budget"

    def lines(self) -> list[str]:
        """What each part costs, what its natural step brings, and which spreads matter."""
        return budget_lines(self.found, self.indices, self.note)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return budget_json(self.found, self.indices) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """budget and, with Sobol indices, sobol."""
        from experiments.design.budget.pictures import sobol_figure, steps_figure

        figures: dict[str, Callable[[], Any]] = {"budget": lambda: steps_figure(self.found)}
        indices = self.indices
        return figures if indices is None else figures | {"sobol": lambda: sobol_figure(self.found, indices)}

    def to_xarray(self) -> xarray.Dataset:
        """Changes and derivatives over `parameter`, Sobol indices over `spread`."""
        dataset: xarray.Dataset = budget_dataset(self.found, self.indices, self.attributes())
        return dataset


@public
def budget(
    rig: RigLike = "wrist", at_mmHg: float = 90.0, *, samples: int | None = None, spread: float | None = None,
    seed: int = 1, work: Work = HERE,
) -> BudgetResult:
    """What each part of a rig costs in phase margin, delay margin, Ms and error, and whose spread matters.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        at_mmHg: arterial pressure [mmHg], 10 … 300.
        samples: base points of the Sobol indices, a power of two from 8 on; 0: none of them; None: 128 where the
            package SALib is installed.
        spread: of the parts, up and down, as a share, 0.001 … 0.5; None: 0.2.
        seed: of the sample.
        work: processes, cluster, and a folder from which interrupted work goes on.

    Returns:
        A BudgetResult: `found.effects`, one for each parameter; `to_xarray()` over `parameter` (and `spread`) with
        units; `plot()` with the figures `budget` and `sobol`; `to_json()`, `save(folder)`.

    Raises:
        InputError: a number out of range, a rig that is unstable there.

    >>> import cuffloop
    >>> result = cuffloop.budget("wrist", samples=0)
    >>> "timing.dead_time_s" in result.to_xarray()["parameter"]
    True
    """
    kept = work.kept(rig, KEPT)
    source = source_of(rig)
    bounded("--at", at_mmHg, 10.0, 300.0, "mmHg")
    bounded("--seed", seed, 0, LARGEST_SEED - 1)
    wide = sobol.USUAL_SPREAD if spread is None else spread
    bounded("--spread", wide, 0.001, 0.5)
    count = USUAL_SAMPLES if samples is None else samples
    if not (count == 0 or (8 <= count <= MOST_SAMPLES and count & (count - 1) == 0)):
        raise InputError(f"--samples {count} must be 0 or a power of two from 8 to {MOST_SAMPLES}")
    engine = work.engine()
    bands = usual_bands(source.rig().timing.period_s)
    found = sensitivity.budget(source, at_mmHg, bands)
    note = NO_SALIB if count and samples is None and not sobol.available() else ""
    indices = None
    if count and not note:
        indices = sobol.sobol_study(found, bands, wide, count, seed, kept, engine, watcher())
    return BudgetResult(found, indices, note, told=provenance(seed))
