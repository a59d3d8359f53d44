"""Margins at every place of the three sliders, worked out beforehand: the page only looks them up."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import build_loop, open_loop, sides
from controller.margins.margins import ManyMargins, margins_many
from controller.tick.law import design
from experiments.bench.offline.scene import Scene
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.simulate import Plan, held_offset
from plant.errors import InputError


class Figure(NamedTuple):
    """How a margin is stored: as a whole number of steps, the last digit that the page prints."""

    label: str
    unit: str
    decimals: int


FIGURES = {
    "gain_margin_dB": Figure("gain margin", "dB", 1), "phase_margin_deg": Figure("phase margin", "°", 1),
    "modulus_margin": Figure("modulus margin", "", 3), "crossover_Hz": Figure("crossover", "Hz", 2),
}
Table = NDArray[np.float64]


def margin_grid(scene: Scene) -> dict[str, Table]:
    """The worst of each margin over pressures and sides, as FIGURES, shape (gains, dead times, volumes).

    NaN where a loop is unstable, or the rig cannot clamp there. The light slope is the true one at mean pressure.
    """
    gains, delays, volumes = (axis.values for axis in scene.axes)
    found = {name: np.full((len(gains), len(delays), len(volumes)), np.nan) for name in FIGURES}
    for column, error in enumerate(volumes):
        for row, delay in enumerate(delays):
            worst = worst_margins(scene, gains, delay, error)
            for name in FIGURES:
                found[name][:, row, column] = worst[name]
    return found


def worst_margins(scene: Scene, gains: tuple[float, ...], dead_time_s: float, error: float) -> dict[str, Table]:
    """The same for every gain at one dead time and one error of the volume, shape (gains,)."""
    rig = scene.rig
    nothing = {name: np.full(len(gains), np.nan) for name in FIGURES}
    timing = rig.timing._replace(dead_time_s=dead_time_s)
    laws = np.array([design(rig.controller._replace(kp=kp), timing.period_s) for kp in gains])
    slope = clamp(rig, next(iter(scene.pressures_mmHg.values())), rig.tone.level).light_slope
    many: list[ManyMargins] = []
    try:
        for point in (clamp(rig, p, rig.tone.level, offset(rig, error)) for p in scene.pressures_mmHg.values()):
            for side in sides(rig.plant):
                law = design(rig.controller, timing.period_s)
                loop = build_loop(rig.plant, point, side, timing, rig.stage, law, slope)
                many.append(margins_many(open_loop(loop), laws))
    except InputError:
        return nothing
    sound = np.all([m.stable & m.resolved for m in many], axis=0)
    values = {
        "gain_margin_dB": 20.0 * np.log10(np.min([m.gain_margin for m in many], axis=0)),
        "phase_margin_deg": np.min([m.phase_margin_deg for m in many], axis=0),
        "modulus_margin": np.min([m.modulus_margin for m in many], axis=0),
        "crossover_Hz": np.min([m.crossover_Hz for m in many], axis=0),
    }
    return {name: np.where(sound, value, np.nan) for name, value in values.items()}


def offset(rig: Rig, error: float) -> float:
    """Transmural offset [mmHg] of a volume held with a relative error. Raises InputError."""
    return held_offset(Plan(set_point_error=error), rig, rig.tone.level)


def stored(values: Table, figure: Figure) -> NDArray[np.float32]:
    """A table as whole steps, flat; NaN and infinity stay."""
    return np.round(values * 10.0**figure.decimals).astype(np.float32).ravel()
