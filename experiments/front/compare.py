"""`cuffloop.compare`: two rigs or more side by side on one pressure record."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.check.check import check as check_rig
from experiments.check.comparison.dataset import comparison_dataset
from experiments.check.comparison.pictures import comparison_figures
from experiments.check.comparison.study import Comparison, compare_checks
from experiments.check.comparison.text import comparison_json, comparison_lines
from experiments.front.inputs import RecordLike, RigLike, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

MOST_RIGS = 6  # columns that a screen holds, and lines that a picture tells apart


@dataclass(frozen=True, eq=False, repr=False)
class CompareResult(Result):
    """What `compare` found: a check of each rig, what they are called, and in which parameters they differ."""

    found: Comparison

    @property
    def passed(self) -> bool:
        """Whether every rig keeps its limits."""
        return self.found.passed

    @property
    def file_name(self) -> str:
        """compare."""
        return "compare"

    def lines(self) -> list[str]:
        """Margins, tracking, phase budget, parameters that differ and verdicts, a column for each rig."""
        return comparison_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The same as plain data, each check whole."""
        return comparison_json(self.found) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """compare."""
        return comparison_figures(self.found)

    def to_xarray(self) -> xarray.Dataset:
        """Every figure over `rig`, phase over `rig` and `part`."""
        dataset: xarray.Dataset = comparison_dataset(self.found, self.attributes())
        return dataset


@public
def compare(
    *rigs: RigLike, record: RecordLike = None, requirements: str | Path | None = None, seconds: float | None = None,
    start_s: float = 0.0, seed: int = 1,
) -> CompareResult:
    """Check rigs on the same record and put them side by side: margins, tracking, phase budget, parameters, verdicts.

    Args:
        rigs: two to six of them: names, paths of rig files, or what `load_rig` returned.
        record: as for `check`; each rig gets it on ticks of its own.
        requirements: file of limits for all; None: for each rig the one that ships with it.
        seconds: use only so much of the record [s].
        start_s: begin so far into the record [s].
        seed: of all noise, the same for each.

    Returns:
        A CompareResult: `passed`, whether every rig keeps its limits; `found.checks`, `found.differences`;
        `to_xarray()` over `rig` (and `part`) with units; `plot()` with the figure `compare`; `to_json()`,
        `save(folder)`.

    Raises:
        InputError: as `check`; fewer than two rigs, or more than six.

    >>> import cuffloop
    >>> slower = cuffloop.load_rig("wrist", {"timing.dead_time_s": 0.003})
    >>> found = cuffloop.compare("wrist", slower, record="synthetic", seconds=16)
    >>> [(row.name, row.unit, row.values) for row in found.found.differences]
    [('timing.dead_time_s', 's', (0.001, 0.003))]
    >>> phase = found.to_xarray()["phase_margin_deg"].values
    >>> bool(phase[0] > phase[1])
    True
    """
    if not 2 <= len(rigs) <= MOST_RIGS:
        raise InputError(f"{len(rigs)} rigs: compare takes from 2 to {MOST_RIGS}")
    made = [rig_of(rig) for rig in rigs]
    limits = [load_requirements(Path(requirements) if requirements else default_requirements(rig.base))
              for rig in made]
    traces = [pressure_on(rig, record, seconds, start_s, seed) for rig in made]
    tell = watcher()
    checks = []
    for place, (rig, limit, trace) in enumerate(zip(made, limits, traces, strict=True)):
        told = None if tell is None else lambda share, place=place: tell((place + share) / len(made))
        checks.append(check_rig(rig, trace, limit, seed=seed, progress=told))
    return CompareResult(compare_checks(checks), told=provenance(seed))
