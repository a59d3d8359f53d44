"""`cuffloop.require`: from limits on readings to limits on the loop, and back."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.front.inputs import RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.readings.limits.dataset import require_dataset
from experiments.readings.limits.solve import Wanted
from experiments.readings.limits.study import Required, USUAL_LEVEL_mmHg, required
from experiments.readings.limits.text import passed, require_json, require_lines
from experiments.work.output import provenance

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class RequireResult(Result):
    """What `require` found, both ways."""

    found: Required

    @property
    def passed(self) -> bool:
        """Whether the rig keeps every limit that was given."""
        return passed(self.found)

    @property
    def file_name(self) -> str:
        """require."""
        return "require"

    def lines(self) -> list[str]:
        """What each limit asks of the loop; what the rig's readings are worth."""
        return require_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return require_json(self.found) | {"passed": self.passed} | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """require."""
        from experiments.readings.limits.pictures import require_figure

        return {"require": lambda: require_figure(self.found)}

    def to_xarray(self) -> xarray.Dataset:
        """What is asked over `limited`, what the rig does over `reading`."""
        dataset: xarray.Dataset = require_dataset(self.found, self.attributes())
        return dataset


@public
def require(
    rig: RigLike = "wrist", *, output: float | None = None, systolic: float | None = None,
    diastolic: float | None = None, mean: float | None = None, variation: float | None = None, at_mmHg: float = 90.0,
    level_sd_mmHg: float = USUAL_LEVEL_mmHg,
) -> RequireResult:
    """What limits on readings ask of a loop, each spent on one cause, and what a rig's readings are worth.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        output: largest error of output [%].
        systolic: of systolic pressure [mmHg].
        diastolic: of diastolic pressure [mmHg].
        mean: of mean pressure [mmHg].
        variation: largest variation that noise alone may read [%].
        at_mmHg: mean arterial pressure of the rig's clamp [mmHg], 30 … 250.
        level_sd_mmHg: SD of the set point's error [mmHg], 0 … 30.

    Returns:
        A RequireResult: `found.rows`, what is asked; `found.worth`, what the rig does; `passed`; `plot()` with the
        figure `require`; `to_xarray()`, `to_json()`, `save(folder)`.

    Raises:
        InputError: no limit, one that is not positive, a rig that cannot clamp there.

    >>> import cuffloop
    >>> row = cuffloop.require("wrist", output=5).found.rows[0]
    >>> row.reading, 10 < row.bandwidth_Hz < 11
    ('output', True)
    """
    bounded("--at", at_mmHg, 30.0, 250.0, "mmHg")
    bounded("--level", level_sd_mmHg, 0.0, 30.0, "mmHg")
    nan = math.nan
    limits = [nan if value is None else value for value in (output, systolic, diastolic, mean, variation)]
    wanted = Wanted(limits[0], limits[1], limits[2], limits[3], variation_percent=limits[4])
    return RequireResult(required(rig_of(rig), wanted, at_mmHg, level_sd_mmHg), told=provenance(None))
