"""Margins of the rig that was found, with a band from what the recordings leave open."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from experiments.check.judged import judge_loops, worst_of
from experiments.identify.fit.study import Identified
from experiments.identify.outcome.rig_file import draws, source_found, with_values
from experiments.rigs.rig import Rig, Source, clamp
from experiments.rigs.uncertain import with_beliefs
from plant.errors import InputError

DRAWS = 24
SLOPE = ("light_slope_per_mmHg", "1/mmHg")
PRESSURE_mmHg = 90.0
FIGURES = {"gain_margin_dB": "dB", "phase_margin_deg": "°", "modulus_margin": "", "crossover_Hz": "Hz"}


class Band(NamedTuple):
    """A figure of the loop, and its standard uncertainty."""

    name: str
    unit: str
    value: float
    sd: float


def light_slope_of(rig: Rig) -> dict[str, float]:
    """Light per cuff pressure at the unloaded volume, at 90 mmHg: what a loop's error is normalised by."""
    return {SLOPE[0]: abs(clamp(rig, PRESSURE_mmHg, rig.tone.level).light_slope)}


def figures_of(rig: Rig) -> dict[str, float]:
    """Margins of a rig's worst loop at 90 mmHg."""
    worst = worst_of(judge_loops(rig, {"": PRESSURE_mmHg})).margins
    return {"gain_margin_dB": 20.0 * math.log10(worst.gain_margin), "phase_margin_deg": worst.phase_margin_deg,
            "modulus_margin": 1.0 / worst.sensitivity_peak, "crossover_Hz": worst.crossover_Hz}


def margin_bands(
    found: Identified, source: Source, seed: int = 1, count: int = DRAWS, light: bool = False
) -> tuple[Band, ...]:
    """Margins of the rig found with the controller it has, and how far what is not known moves them.

    Its firmware is written for the rig that was found and stays so: only the plant is drawn. What flows and volumes
    have in common then leaves the loop alone. With `light` the slope of the light comes first.
    """
    units = ({SLOPE[0]: SLOPE[1]} if light else {}) | FIGURES
    try:
        made = with_beliefs(source_found(source, found))
        middle = _all_of(made.rig(), light)
    except InputError:
        return ()
    drawn = []
    for values in draws(found, count, seed):
        try:
            drawn.append(_all_of(with_values(made, list(values), list(values.values())).rig(), light))
        except InputError:
            continue
    return tuple(Band(name, unit, middle[name],
                      float(np.std([one[name] for one in drawn], ddof=1)) if len(drawn) > 1 else math.nan)
                 for name, unit in units.items())


def _all_of(rig: Rig, light: bool) -> dict[str, float]:
    return (light_slope_of(rig) if light else {}) | figures_of(rig)
