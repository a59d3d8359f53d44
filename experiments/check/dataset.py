"""Margins and a check as labelled data, with units."""
from __future__ import annotations

import json
from typing import Any

import numpy as np

from controller.margins.budget import BudgetRow
from experiments.check.check import Check, calibration_figures, tracking_figures
from experiments.check.judged import Judged, margin_figures
from experiments.rigs.requirements import FIGURES
from experiments.simulation.trace_file import as_dataset
from experiments.work.output import plain

MARGINS = {  # of one loop: unit, what it is
    "gain_margin": ("1", "factor on the gain up to which the loop is stable"),
    "gain_reduction_margin": ("1", "factor on the gain down to which the loop is stable"),
    "phase_margin_deg": ("°", "phase margin"), "delay_margin_s": ("s", "delay margin"),
    "delay_margin_ticks": ("ticks", "delay margin"), "modulus_margin": ("1", "modulus margin, 1/Ms"),
    "sensitivity_peak": ("1", "sensitivity peak Ms"), "crossover_Hz": ("Hz", "gain crossover"),
    "bandwidth_Hz": ("Hz", "bandwidth"), "stable": ("1", "whether the loop is stable"),
    "resolved": ("1", "whether its phase could be followed"),
}


def margins_dataset(loops: list[Judged], rows: list[BudgetRow], attributes: dict[str, str]) -> Any:
    """An xarray Dataset: margins over `operating_point`, phase over `part` at the worst loop's crossover."""
    import xarray

    data: dict[str, Any] = {
        name: ("operating_point", np.array([float(getattr(j.margins, name)) for j in loops]),
               {"units": unit, "long_name": meaning}) for name, (unit, meaning) in MARGINS.items()
    }
    data["phase_deg"] = ("part", np.array([row.phase_deg for row in rows], float),
                         {"units": "°", "long_name": "phase at the worst loop's crossover"})
    coordinates = {
        "operating_point": [j.name for j in loops], "part": [row.part for row in rows],
        "at_mmHg": ("operating_point", [j.loop.point.around.arterial_mmHg for j in loops],
                    {"units": "mmHg", "long_name": "arterial pressure"}),
        "side": ("operating_point", [j.loop.side for j in loops]),
    }
    return xarray.Dataset(data, coordinates, attributes)


def figures_of(result: Check) -> dict[str, float]:
    """Every figure of a check by the name that requirements use; errors by beat as `NAME.mean` and `NAME.sd`."""
    found: dict[str, Any] = (margin_figures(result.loops) | tracking_figures(result.run, result.tracking)
                             | calibration_figures(result.calibration))
    flat: dict[str, float] = {}
    for name, value in found.items():
        if isinstance(value, dict):
            flat |= {f"{name}.{which}": float(number) for which, number in value.items()}
        else:
            flat[name] = float(value)
    return flat


def unit_of(name: str) -> str:
    """Unit of a figure of a check, as in `phase_margin_deg` or `beat_mean_error_mmHg.sd`."""
    return FIGURES[name.partition(".")[0]][0] or "1"


def check_dataset(result: Check, document: dict[str, Any]) -> Any:
    """An xarray Dataset: every tick over `time_s`, margins over `operating_point`, phase over `part`, every figure."""
    import xarray

    about = {"about": json.dumps(plain(document), ensure_ascii=False)}
    numbers = {name: ((), value, {"units": unit_of(name), "long_name": FIGURES[name.partition(".")[0]][1]})
               for name, value in figures_of(result).items()}
    renamed = {name: f"worst_{name}" for name in numbers if name in MARGINS}  # MARGINS has them by operating point
    run = as_dataset(result.run, document)
    for name, variable in numbers.items():
        run[f"highest_{name}" if name in run else renamed.get(name, name)] = variable
    return xarray.merge([run, margins_dataset(result.loops, result.budget, about)], combine_attrs="override")
