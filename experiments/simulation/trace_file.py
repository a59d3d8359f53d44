"""Every tick of a run as a file: CSV, Parquet, or NetCDF, by the name's ending; the same names of channels in each.

A name ends in its unit; without one it is a share of full scale, a mode's number, or a yes or no.
"""
from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from controller.tick.firmware import MODES
from experiments.simulation.simulate import Run
from experiments.work.output import plain, waiting_name, whole_file
from plant.errors import InputError

ENDINGS = (".csv", ".parquet", ".nc")
UNITS = {
    "arterial_mmHg": "mmHg", "cuff_mmHg": "mmHg", "node_mmHg": "mmHg", "external_mmHg": "mmHg", "supply_mmHg": "mmHg",
    "area": "1", "venous_volume": "1", "light": "1", "reading_mmHg": "mmHg", "command": "1", "mode": "1",
    "limited": "1", "error_mmHg": "mmHg", "lead_mmHg": "mmHg", "notch_mmHg": "mmHg", "proportional": "1",
    "integral": "1", "derivative": "1", "demand": "1",
}


def check_trace_name(path: Path) -> None:
    """Refuse a name before the run rather than after it. Raises InputError."""
    if path.suffix not in ENDINGS:
        raise InputError(f"--trace {path}: the name must end in {', '.join(ENDINGS)}")
    try:
        if not path.parent.is_dir():
            raise InputError(f"--trace {path}: the folder {path.parent} does not exist")
        if path.is_dir():
            raise InputError(f"--trace {path}: is a folder")
        probe = waiting_name(path)
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise InputError(f"--trace {path}: cannot be written: {error.strerror or error}") from None
    if path.suffix == ".parquet":
        _parquet()


def _parquet() -> tuple[Any, Any]:
    """pyarrow and its Parquet module, which are not among the required packages."""
    try:
        return import_module("pyarrow"), import_module("pyarrow.parquet")
    except ImportError:
        raise InputError("--trace: Parquet needs the package pyarrow: pip install pyarrow") from None


def as_dataset(run: Run, document: dict[str, Any]) -> Any:
    """The run as an xarray Dataset over `time_s`, with units and provenance as attributes."""
    import json

    import xarray

    time_s = np.arange(len(run.channels["cuff_mmHg"])) * run.period_s
    data = {name: ("time_s", values, {"units": UNITS[name]}) for name, values in run.channels.items()}
    attributes = {"rig": run.rig.name, "record": run.trace.name, "modes": ", ".join(MODES),
                  "about": json.dumps(plain(document), ensure_ascii=False)}
    return xarray.Dataset(data, {"time_s": ("time_s", time_s, {"units": "s"})}, attributes)


def write_trace(path: Path, run: Run, document: dict[str, Any]) -> None:
    """Write every tick under a temporary name, then rename. Raises InputError when the place cannot be written."""
    with whole_file(path, "--trace ") as temporary:
        if path.suffix == ".nc":
            as_dataset(run, document).to_netcdf(temporary, engine="scipy")  # classic NetCDF, which every reader knows
        elif path.suffix == ".parquet":
            arrow, parquet = _parquet()
            parquet.write_table(arrow.table(_columns(run)), temporary)
        else:
            columns = _columns(run)
            table = np.column_stack(list(columns.values()))
            np.savetxt(temporary, table, delimiter=",", header=",".join(columns), comments="", fmt="%.7g")


def _columns(run: Run) -> dict[str, Any]:
    time_s = np.arange(len(run.channels["cuff_mmHg"])) * run.period_s
    return {"time_s": time_s, **run.channels}
