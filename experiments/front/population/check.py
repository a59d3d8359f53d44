"""`cuffloop.check_fingers`: a rig judged on many virtual fingers, with what a bench left open of it."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.design.population.dataset import population_dataset
from experiments.design.population.study import Judged, Plan, judge_fingers
from experiments.design.population.text import population_json, population_lines
from experiments.front.inputs import LARGEST_SEED, RigLike, SYNTHETIC_s, bounded, source_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.subjects.table import chosen_fingers
from experiments.work.output import provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray

SHORTEST_s, MOST_FINGERS = 8.0, 100_000


@dataclass(frozen=True, eq=False, repr=False)
class FingersCheckResult(Result):
    """What `check_fingers` found: figures of every finger in `found`, and the limits that they were held against."""

    found: Judged

    @property
    def passed(self) -> bool:
        """Whether enough fingers keep every limit."""
        return self.found.passed

    @property
    def file_name(self) -> str:
        """check_fingers."""
        return "check_fingers"

    def lines(self) -> list[str]:
        """A row a limit: worst finger, middle one, and how many keep it."""
        return population_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The same as plain data, finger by finger."""
        return population_json(self.found) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """fingers."""
        from experiments.design.population.pictures import population_figure

        return {"fingers": lambda: population_figure(self.found)}

    def to_xarray(self) -> xarray.Dataset:
        """Every figure over `finger`."""
        dataset: xarray.Dataset = population_dataset(self.found, self.attributes())
        return dataset


@public
def check_fingers(
    rig: RigLike = "wrist", fingers: int = 100, *, group: str = "mixed", simulated: bool = False,
    requirements: str | Path | None = None, seconds: float = SYNTHETIC_s, percentile: float = 100.0, seed: int = 1,
) -> FingersCheckResult:
    """Judge a rig on many virtual fingers, each at its own pressures; on a rig of its own where a bench left some open.

    Where the rig's file holds `[spread]` (standard uncertainties, as `identify` writes them) each finger gets a rig
    that is drawn within it, jointly by `[correlation]`, under the firmware that the file has: verdicts then carry the
    bench's uncertainty. The rig as it is stands beside.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        fingers: how many virtual fingers, 1 … 100000.
        group: of the fingers: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`, or a table (`.csv`).
        simulated: run each finger's own pressure, too, on the nonlinear loop; else margins only.
        requirements: file of limits (`.toml`); None: the one that ships with the rig.
        seconds: of each finger's own pressure [s], 8 … 3600.
        percentile: share of the fingers that must keep every limit [%], 50 … 100.
        seed: of the fingers and of the rigs that are drawn.

    Returns:
        A FingersCheckResult: `passed`; `found.judged` of shape (fingers, figures); `to_xarray()` over `finger`;
        `plot()` with the figure `fingers`; `to_json()`, `save(folder)`.

    Raises:
        InputError: a number out of range, a group that is not known, not one finger that can be had.

    >>> import cuffloop
    >>> result = cuffloop.check_fingers("wrist", 3)
    >>> result.to_xarray()["phase_margin_deg"].sizes, result.units["phase_margin_deg"]
    (Frozen({'finger': 3}), '°')
    """
    bounded("--fingers", fingers, 1, MOST_FINGERS)
    bounded("--percentile", percentile, 50.0, 100.0, "%")
    bounded("--seconds", seconds, SHORTEST_s, 3600.0, "s")
    bounded("--seed", seed, 0, LARGEST_SEED)
    source = source_of(rig)
    limits = load_requirements(Path(requirements) if requirements else default_requirements(source.base))
    plan = Plan(source, tuple(chosen_fingers(fingers, group, seed)), limits, simulated, seconds, percentile, seed)
    return FingersCheckResult(judge_fingers(plan, watcher()), told=provenance(seed))
