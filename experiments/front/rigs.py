"""`cuffloop.rigs`: the built-in rigs, or every parameter of one."""
from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.front.inputs import RigLike, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.dataset import rig_dataset
from experiments.rigs.rig import Rig, built_in_rigs, load_rig
from experiments.rigs.table import list_lines, rig_json, rig_lines
from experiments.work.output import provenance

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class RigResult(Result):
    """Every parameter of a rig, with unit, bounds, meaning and source. Printed, it is a rig file."""

    rig: Rig

    @property
    def file_name(self) -> str:
        """rig."""
        return "rig"

    def lines(self) -> list[str]:
        """The rig as a file that can be saved, changed and loaded again."""
        return rig_lines(self.rig, shutil.get_terminal_size((100, 24)).columns)

    def document(self) -> dict[str, Any]:
        """Its tables, complete, and what each parameter is."""
        return rig_json(self.rig)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """None."""
        return {}

    def to_xarray(self) -> xarray.Dataset:
        """Value and bounds over `parameter`."""
        dataset: xarray.Dataset = rig_dataset(self.rig, self.attributes() | {"rig": self.rig.name})
        return dataset

    @property
    def units(self) -> dict[str, str]:
        """Unit of each parameter by its dotted name; `1` for what has none."""
        parameters: dict[str, Any] = self.document()["parameters"]
        return {f"{table}.{key}": about["unit"] or "1" for table, keys in parameters.items()
                for key, about in keys.items()}


@dataclass(frozen=True)
class RigList:
    """The built-in rigs (all invented)."""

    rigs: tuple[Rig, ...]

    def lines(self) -> list[str]:
        """One line a rig."""
        return list_lines(list(self.rigs))

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return {rig.name: {"about": rig.about} for rig in self.rigs}

    def __str__(self) -> str:
        """As the command prints it."""
        return "\n".join(self.lines())

    def __repr__(self) -> str:
        """The same."""
        return str(self)


@public
def rigs() -> RigList:
    """The rigs that ship with cuffloop, all of them invented; printed, one line each.

    >>> import cuffloop
    >>> [rig.name for rig in cuffloop.rigs().rigs]
    ['cabinet', 'wrist']
    """
    return RigList(tuple(load_rig(name) for name in built_in_rigs()))


@public
def parameters(rig: RigLike = "wrist") -> RigResult:
    """Every parameter of a rig with unit, bounds, meaning and source; printed, it is a rig file that can be loaded.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.

    Returns:
        A RigResult: `rig`; `units`, the unit of each parameter by its dotted name; `to_xarray()` over `parameter`;
        `to_json()`, `save(folder)`.

    Raises:
        InputError: a rig that cannot be read, with file, key, value and allowed range.

    >>> import cuffloop
    >>> cuffloop.parameters("wrist").units["tube.length_m"]
    'm'
    """
    return RigResult(rig_of(rig), told=provenance(None))
