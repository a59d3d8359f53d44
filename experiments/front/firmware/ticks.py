"""Ticks of a firmware's run as labelled data."""
from __future__ import annotations

from typing import TYPE_CHECKING, Any

from experiments.simulation.simulate import Run
from experiments.simulation.trace_file import as_dataset

if TYPE_CHECKING:
    import xarray


def ticks_dataset(run: Run | None, attributes: dict[str, Any], document: dict[str, Any]) -> xarray.Dataset:
    """Every tick that the firmware came to, over `time_s`; only the attributes where it did not begin."""
    import xarray

    dataset: xarray.Dataset = xarray.Dataset(attrs=attributes) if run is None else as_dataset(run, document)
    return dataset
