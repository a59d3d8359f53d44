"""`cuffloop.sweep_firmware`: somebody's own firmware, unchanged, at every point of some axes of the plant."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.design.sweep.axes import grid_points, parse_axes, sample_points
from experiments.design.sweep.foreign import (
    FIGURES,
    ForeignSweep,
    refuse_axes_of_law,
    run_points,
    sweep_dataset,
    sweep_figure,
)
from experiments.design.sweep.piece import Case
from experiments.design.sweep.verdict import limits_among
from experiments.firmware.foreign.watch import sources_of
from experiments.front.inputs import LARGEST_SEED, RecordLike, RigLike, SYNTHETIC_s, bounded, source_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.front.sweep import USUAL, Axes, SweepOptions, axis_texts, people_of, pressure_given
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

MOST_POINTS = 2000  # a tenth of a second each, and more of a long record


@dataclass(frozen=True, eq=False, repr=False)
class FirmwareSweepResult(Result):
    """What `sweep_firmware` gave: figures and findings of each point in `found.points`."""

    found: ForeignSweep

    @property
    def passed(self) -> bool:
        """Whether some point runs without a finding and keeps all limits."""
        return bool(self.found.kept)

    @property
    def file_name(self) -> str:
        """sweep."""
        return "sweep"

    def lines(self) -> list[str]:
        """A line a point."""
        return self.found.lines()

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return self.found.document() | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """sweep."""
        return {"sweep": lambda: sweep_figure(self.found)}

    def to_xarray(self) -> xarray.Dataset:
        """Every figure over `point`, with the axes' values as coordinates."""
        dataset: xarray.Dataset = sweep_dataset(self.found, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """NetCDF, JSON and the picture."""
        folder.write_netcdf("sweep.nc", self.to_xarray())
        super().write(folder)


@public
def sweep_firmware(
    firmware: str | Path, rig: RigLike = "wrist", axes: Axes = (), *, finger: str | None = None,
    record: RecordLike = None, sample: int | None = None, options: SweepOptions = USUAL,
) -> FirmwareSweepResult:
    """Run a firmware of your own, unchanged, against a plant that changes along axes: tracking, and findings.

    Args:
        firmware: a C file, a folder of them, or a shared library. It is run with your rights.
        rig: name, path of a rig file, or what `load_rig` returned.
        axes: values by parameter, as of `sweep`; not those of the rig's own law (`controller`, `actuator`, `filling`).
        finger: name of a virtual finger, on its own pressure; None: the rig's own finger.
        record: arterial pressure on the rig's own finger.
        sample: take so many low-discrepancy points of the ranges instead of their grid.
        options: seconds, requirements and seed, as a `SweepOptions`.

    Returns:
        A FirmwareSweepResult: `found.points`, each with `figures` and `findings`; `passed`, whether some point keeps
        all limits; `to_xarray()` over `point` with units, `plot()` with the figure `sweep`; `to_json()`,
        `save(folder)`.

    Raises:
        InputError: an axis of the rig's own law or that a rig does not have, more than 2000 points, a firmware that
            cannot be built or loaded, no point that can be had.

    >>> import cuffloop
    >>> cuffloop.sweep_firmware("missing.c", "wrist", {"tube.length_m": [0.1, 0.3]})
    Traceback (most recent call last):
    plant.errors.InputError: firmware missing.c: there is no such file
    """
    source, seed = source_of(rig), options.seed
    bounded("--seed", seed, 0, LARGEST_SEED)
    people = people_of(finger, options.group if finger else None, seed)
    parsed = parse_axes(axis_texts(axes), source, bool(people))
    refuse_axes_of_law(parsed)
    sources_of(Path(firmware))
    points = grid_points(parsed) if sample is None else sample_points(parsed, sample, seed)
    if len(points) > MOST_POINTS:
        raise InputError(f"{len(points)} points are more than {MOST_POINTS}, each a run of your firmware")
    requirements = load_requirements(Path(options.requirements) if options.requirements else
                                     default_requirements(source.base))
    trace, raw = pressure_given(source, record, parsed, bool(people), options)
    names = tuple(axis.name for axis in parsed)
    case = Case(source, names, True, trace, raw, options.seconds or SYNTHETIC_s, 0.0, seed)
    one = people[0] if people else None
    found = run_points(case, points, one, Path(firmware), watcher())
    return FirmwareSweepResult(
        ForeignSweep(case, tuple(parsed), Path(firmware).name, one.name if one else "", found,
                     limits_among(FIGURES, requirements)), told=provenance(seed))
