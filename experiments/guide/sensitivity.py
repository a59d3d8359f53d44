"""`python -m experiments.guide.sensitivity`: what a finger's and cuff's parameters do to a rig's margins, as one table.

Sobol indices (Saltelli et al. 2010, through SciPy) of phase margin and crossover at the rig's own gains, the worse side
of its valve, over the ranges below: uniform, apart from each other, at no tone. Twice: with the slope of the light as a
search has found it, and with that of the finger which the rig was designed on.
"""
from __future__ import annotations

import math
import sys
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import build_loop, loop_margins, sides
from controller.tick.law import design
from experiments.rigs.rig import Rig, clamp, load_rig
from plant.assembly import Plant
from plant.operating_point import clamp_point

Samples = NDArray[np.float64]
SIZE, SEED = 256, 1  # base samples, a power of two; each takes as many loops as there are ranges and two
MEAN_OF_SYSTOLIC = 0.77  # mean over systolic pressure, 120/80
OUTCOMES = ("phase margin", "crossover", "phase margin, design's slope", "crossover, design's slope")


class Range(NamedTuple):
    """One parameter and the values that it may have."""

    key: str
    label: str
    low: float
    high: float


RANGES = (
    Range("artery.half_width_mmHg", "half-width $p_1$ [mmHg]", 8.0, 25.0),
    Range("artery.fast_fraction", "fast share $\\varphi$", 0.1, 0.7),
    Range("segment.length_mm", "compressed length [mm]", 7.0, 16.0),
    Range("segment.outer_speed_m_s", "wave speed outside [m/s]", 6.0, 10.0),
    Range("segment.diameter_mm", "inner diameter [mm]", 0.8, 1.6),
    Range("cuff.gap_mm", "gap of the cuff's air [mm]", 1.0, 3.0),
    Range("tissue.transmission", "transmission $\\eta$", 0.85, 1.0),
    Range("systolic", "systolic pressure [mmHg]", 80.0, 180.0),
    Range("light.arterial_path_cm", "arterial path [cm]", 0.01, 0.1),
)


class Indices(NamedTuple):
    """What a study comes to: per outcome and range, first-order and total; per outcome 5, 50, 95 % of its values."""

    first: Samples  # (outcomes, ranges)
    total: Samples
    quantiles: Samples  # (outcomes, 3)


def plant_at(plant: Plant, values: Samples) -> tuple[Plant, float]:
    """A plant with these values of RANGES, and mean arterial pressure [mmHg]."""
    arterial = math.nan
    for one, value in zip(RANGES, values, strict=True):
        table, _, field = one.key.partition(".")
        if not field:
            arterial = MEAN_OF_SYSTOLIC * float(value)
        else:
            part = getattr(plant, table)
            plant = plant._replace(**{table: part._replace(**{field: float(value)})})
    return plant, arterial


def outcomes_at(rig: Rig, values: Samples, designed_slope: float) -> list[float]:
    """OUTCOMES at these values: degrees and Hz. No crossover is 0 Hz and 180°; an unstable loop has no margin, 0°."""
    plant, arterial = plant_at(rig.plant, values)
    point = clamp_point(plant, arterial)
    law, found = design(rig.controller, rig.timing.period_s), []
    for slope in (point.light_slope, designed_slope):
        loops = [build_loop(plant, point, side, rig.timing, rig.stage, law, slope) for side in sides(plant)]
        seen = [loop_margins(loop) for loop in loops]
        phase = [m.phase_margin_deg if m.stable else 0.0 for m in seen]
        found.append(min(min(max(p, 0.0), 180.0) for p in phase))
        found.append(max(m.crossover_Hz if math.isfinite(m.crossover_Hz) else 0.0 for m in seen))
    return found


def indices(rig: Rig, size: int = SIZE, seed: int = SEED) -> Indices:
    """Sobol indices of OUTCOMES on a rig; `size` base samples, a power of two."""
    from scipy.stats import sobol_indices, uniform

    slope, seen = clamp(rig, 93.0, 0.0).light_slope, []

    def model(values: Samples) -> Samples:  # (ranges, samples) -> (outcomes, samples)
        found = np.array([outcomes_at(rig, column, slope) for column in values.T]).T
        seen.append(found.copy())  # SciPy centres what it is given
        return np.asarray(found)

    spreads = [uniform(one.low, one.high - one.low) for one in RANGES]
    result = sobol_indices(func=model, n=size, dists=spreads, rng=np.random.default_rng(seed))
    drawn = np.concatenate(seen, axis=1)
    return Indices(result.first_order, result.total_order, np.percentile(drawn, [5.0, 50.0, 95.0], axis=1).T)


def table(found: Indices) -> str:
    """Markdown: total indices, with the first-order ones in brackets, and the outcomes' quantiles below."""
    lines = ["| parameter | range | " + " | ".join(OUTCOMES) + " |", "|---|---|" + "---|" * len(OUTCOMES)]
    for j, one in enumerate(RANGES):
        cells = [f"{max(found.total[i, j], 0.0):.2f} ({max(found.first[i, j], 0.0):.2f})" for i in range(len(OUTCOMES))]
        lines.append(f"| {one.label} | {one.low:g}–{one.high:g} | " + " | ".join(cells) + " |")
    units = ("°", " Hz", "°", " Hz")
    spans = [" / ".join(f"{v:.0f}" for v in row) + unit for row, unit in zip(found.quantiles, units, strict=True)]
    lines.append("| *5 / 50 / 95 % of loops* | | " + " | ".join(spans) + " |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Print the table of each rig named, or of both that are built in."""
    for name in arguments or ["wrist", "cabinet"]:
        print(f"{name}\n\n{table(indices(load_rig(name)))}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
