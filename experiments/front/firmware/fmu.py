"""`cuffloop.fmu`: a rig's controller, plant or loop as a unit of FMI 3.0."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from experiments.firmware.fmu.unit_file import SYSTEMS, UnitFile, unit_file
from experiments.front.inputs import LARGEST_SEED, RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class FmuResult(Result):
    """What `fmu` made: `made.content` are the bytes of the unit's file."""

    made: UnitFile

    @property
    def file_name(self) -> str:
        """The model's name, as in `wrist_loop.fmu`."""
        return self.made.model

    def lines(self) -> list[str]:
        """Systems, their libraries' sizes, and the variables."""
        made = self.made
        lines = [f"{made.model}.fmu, FMI 3.0, co-simulation in ticks of {1e3 * made.part.period_s:g} ms, "
                 f"by {made.compiler}"]
        lines += [f"  {name:<16} {size:,} bytes" for name, size in made.systems.items()]
        return [*lines, *(f"  {v.causality:<9} {v.name:<14} {v.unit or '1':<7} {v.text}" for v in made.part.variables)]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        made = self.made
        return {"model": made.model, "systems": made.systems, "compiler": made.compiler,
                "variables": [v._asdict() for v in made.part.variables], "period_s": made.part.period_s,
                **dict(self.told)}

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """None."""
        return {}

    def to_xarray(self) -> xarray.Dataset:
        """Size of the library of each `system`."""
        import xarray

        sizes = np.array(list(self.made.systems.values()))
        data = {"library_bytes": ("system", sizes, {"units": "byte", "long_name": "size of the library"})}
        dataset: xarray.Dataset = xarray.Dataset(data, {"system": list(self.made.systems)}, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """The unit's file."""
        folder.write(f"{self.made.model}.fmu", partial(_write, self.made.content))


def _write(content: bytes, path: Path) -> None:
    path.write_bytes(content)


@public
def fmu(
    rig: RigLike = "wrist", part: str = "loop", *, systems: Sequence[str] = (), arterial_mmHg: float = 90.0,
    seed: int = 1,
) -> FmuResult:
    """Make a rig's controller, plant or loop a unit of FMI 3.0 for co-simulation, built for every system at once.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        part: `controller`, `plant` or `loop`.
        systems: some of `x86_64-linux`, `aarch64-linux`, `x86_64-windows`, `x86_64-darwin`, `aarch64-darwin`;
            none: all.
        arterial_mmHg: pressure that the plant begins at, 20 … 300 [mmHg].
        seed: of all noise.

    Returns:
        A FmuResult: `save(folder)` writes the unit; `made.content` are its bytes, `made.part.variables` its variables.

    Raises:
        InputError: a part or system that is none, a number out of range, no compiler (the extra `firmware`).

    >>> import cuffloop
    >>> result = cuffloop.fmu("wrist", "controller", systems=["x86_64-linux"])
    >>> result.made.model, result.made.part.variables[0].name
    ('wrist_controller', 'fill_mmHg')
    """
    names = (systems,) if isinstance(systems, str) else tuple(systems)
    unknown = [name for name in names if name not in SYSTEMS]
    if unknown:
        raise InputError(f"--system {unknown[0]}: one of {', '.join(SYSTEMS)}")
    bounded("--arterial", arterial_mmHg, 20.0, 300.0, "mmHg")
    bounded("--seed", seed, 0, LARGEST_SEED)
    made = unit_file(rig_of(rig), part, names or tuple(SYSTEMS), seed, arterial_mmHg, watcher())
    return FmuResult(made, told=provenance(seed))
