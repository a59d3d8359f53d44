"""Every run of a study of failures, as a CSV table or as labelled data with units."""
from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.findings import BREAKS
from experiments.safety.faults.study import KEYS, Study
from experiments.simulation.outcome import FIGURES, LAYERS


def _unit(name: str) -> str:
    """The unit that a figure's name ends in."""
    return "mmHg·s" if name.endswith("_mmHg_s") else name.rsplit("_", 1)[-1].replace("degC", "°C")


def write_runs_csv(path: Path, study: Study) -> None:
    """Every run in one row, names instead of numbers, units in the header."""
    units = [f"{name} [{_unit(name)}]" for name in FIGURES]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["finger", "phase", "fault", "second_fault", "protection_lost", "copied", "diverged", *units,
                         *(f"{name}_first [s]" for name in LAYERS), "breaks"])
        for row, breaks in zip(study.rows, study.breaks, strict=True):
            finger, phase, fault, second, lost, copied, diverged = (int(v) for v in row[: len(KEYS) - 1])
            writer.writerow([
                study.names[finger], phase, study.faults[fault].name, study.faults[second].name if second >= 0 else "",
                PROTECTIONS[lost] if lost >= 0 else "", copied, diverged,
                *(f"{v:.6g}" if v >= 0.0 or i == FIGURES.index("lowest_mmHg") else ""
                  for i, v in enumerate(row[len(KEYS) :])),
                "; ".join(name for name, hit in zip(BREAKS, breaks, strict=True) if hit),
            ])


def study_dataset(study: Study, attributes: dict[str, str]) -> Any:
    """Every run as an xarray Dataset: variables along `run`, names as attributes of the index variables."""
    import xarray

    data = {}
    for name in (*KEYS, *FIGURES):
        unit = "mmHg s" if name.endswith("_mmHg_s") else "mmHg" if name.endswith("_mmHg") else "s"
        unit = "degC" if name.endswith("_degC") else unit if name.endswith(("_s", "mmHg")) else "1"
        data[name] = ("run", study.column(name), {"units": unit})
    for name in LAYERS:
        data[f"{name}_first_s"] = ("run", study.column(name), {"units": "s", "long_name": "first action; -1 never"})
    for i, name in enumerate(BREAKS):
        data[f"breaks_{name.replace(' ', '_')}"] = ("run", study.breaks[:, i].astype(np.int8), {"units": "1"})
    names = {
        "fault_names": ", ".join(f.name for f in study.faults), "finger_names": ", ".join(study.names),
        "protection_names": ", ".join(PROTECTIONS),
    }
    return xarray.Dataset(data, attrs=names | attributes)
