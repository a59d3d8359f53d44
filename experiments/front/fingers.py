"""`cuffloop.fingers`: virtual fingers (invented people) as a table."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.front.inputs import LARGEST_SEED, bounded
from experiments.front.public import public
from experiments.front.result import Result
from experiments.subjects.dataset import fingers_dataset
from experiments.subjects.finger import Finger
from experiments.subjects.pictures import spread_figure
from experiments.subjects.population import MOST_FINGERS
from experiments.subjects.spreads import GROUPS
from experiments.subjects.table import chosen_fingers, is_table, save_fingers
from experiments.subjects.text import fingers_json, fingers_lines
from experiments.work.output import OutputFolder, provenance
from plant.errors import InputError
from plant.messages import value_text

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class FingersResult(Result):
    """Virtual fingers: `people`, each with its artery, veins, light path, tone, fit and pressure."""

    group: str
    people: list[Finger]

    @property
    def file_name(self) -> str:
        """fingers."""
        return "fingers"

    def lines(self) -> list[str]:
        """Every parameter by quantiles."""
        return fingers_lines(self.group, self.people)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return fingers_json(self.group, self.people) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """fingers."""
        return {"fingers": lambda: spread_figure(self.group, self.people)}

    def to_xarray(self) -> xarray.Dataset:
        """Every parameter over `finger`."""
        dataset: xarray.Dataset = fingers_dataset(self.people, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """The table that `sweep` and `tune` read."""
        folder.write("fingers.csv", lambda path: save_fingers(path, self.people))


@public
def fingers(group: str = "mixed", count: int = 100, *, seed: int = 1) -> FingersResult:
    """Virtual fingers of a group, or of a table: invented people, each with its own physiology.

    Args:
        group: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`, or a table (`.csv`) that `save` has written.
        count: how many; the first of a longer list are those of a shorter one.
        seed: of the fingers, 0 … 2³² − 1.

    Returns:
        A FingersResult: `people`, the fingers; `to_xarray()` over `finger`, a variable for every parameter with its
        unit; `plot()` with the figure `fingers`; `to_json()`; `save(folder)` writes `fingers.csv`.

    Raises:
        InputError: a group that is not known, a number out of range, a table that cannot be read.

    >>> import cuffloop
    >>> result = cuffloop.fingers("cold", 5)
    >>> result.people[0].name, result.units["artery.creep_time_s"]
    ('cold-1-0000', 's')
    """
    if not is_table(group) and group not in GROUPS:
        raise InputError(f"--group {value_text(group)}: use one of {', '.join(GROUPS)}, or a table that ends in .csv")
    bounded("--fingers", count, 1, MOST_FINGERS)
    bounded("--seed", seed, 0, LARGEST_SEED)
    return FingersResult(group, chosen_fingers(count, group, seed), told=provenance(seed))
