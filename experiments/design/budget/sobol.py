"""Which spreads of a rig's parts make its margins spread: Sobol indices (Sobol 1993; Saltelli et al. 2010), by SALib.

First-order index: the share of the variance that one parameter brings by itself. Total index: with all it does
together with others. Gains, tick and beliefs are digital and have no spread.
"""
from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.budget.cost import LoopCost, worst_cost
from experiments.design.budget.sensitivity import Budget, Effect
from experiments.rigs.rig import Source
from experiments.rigs.spread_tables import SPREAD
from experiments.subjects.bands import Bands
from experiments.work.run import Engine, run
from plant.declare import declared
from plant.errors import InputError

Reals = NDArray[np.float64]

USUAL_SPREAD = 0.2  # of a parameter, up and down: invented
NARROW = {"air.temperature_K": 0.03, "air.atmosphere_mmHg": 0.1, "air.polytropic_exponent": 0.1,
          "air.laminar_ratio": 0.005, "timing.dead_time_s": 0.1, "transducer.gain": 0.02,
          "tissue.transmission": 0.05}  # share of the usual spread's place; invented as well
EXACT = ("controller", "actuator", "filling")  # tables of the firmware
EXACT_KEYS = ("timing.period_s", "light.flicker_Hz", "transducer.full_scale_mmHg", "valve.range_mmHg")
MOST_PARAMETERS = 10  # that are followed: those that matter most by their derivatives
BLOCK = 64  # points in a piece
FIGURES = {"phase_margin_deg": "phase margin", "delay_margin_ticks": "delay margin",
           "modulus_margin": "modulus margin (1/Ms)", "error_mmHg": "pulse and noise error"}


class SpreadOut(NamedTuple):
    """One parameter's range."""

    name: str
    unit: str
    low: float
    high: float


class Indices(NamedTuple):
    """Indices of one figure, one entry a parameter, with half-widths of their 95 % intervals."""

    first: Reals
    first_interval: Reals
    total: Reals
    total_interval: Reals


class Study(NamedTuple):
    """What came out."""

    spreads: tuple[SpreadOut, ...]
    indices: dict[str, Indices]  # by figure
    values: dict[str, Reals]  # of each figure at each point, where it is stable
    unstable_share: float
    points: int


def available() -> bool:
    """Whether SALib is installed."""
    try:
        import_module("SALib.analyze.sobol")
    except ImportError:
        return False
    return True


def spreads_of(found: Budget, spread: float = USUAL_SPREAD) -> list[SpreadOut]:
    """Ranges of the ten parameters whose spread moves the figures most, by their derivatives, largest first."""
    reach: dict[str, tuple[SpreadOut, Reals]] = {}
    for effect in found.effects:
        wide = _range(found.source, effect, spread)
        if wide is not None and effect.slope is not None and not np.any(np.isnan(effect.slope)):
            reach[effect.name] = wide, np.abs(effect.slope) * 0.5 * (wide.high - wide.low)
    if not reach:
        return []
    largest = np.max([size for _, size in reach.values()], axis=0)
    score = {name: float(np.max(size / np.where(largest > 0.0, largest, 1.0))) for name, (_, size) in reach.items()}
    order = sorted(reach, key=lambda name: -score[name])
    return [reach[name][0] for name in order[:MOST_PARAMETERS] if score[name] > 0.0]


def _range(source: Source, effect: Effect, spread: float) -> SpreadOut | None:
    table, _, key = effect.name.partition(".")
    if table in EXACT or effect.name in EXACT_KEYS or isinstance(effect.present, int) or effect.present == 0.0:
        return None
    share = spread * NARROW.get(effect.name, USUAL_SPREAD) / USUAL_SPREAD
    low, high = effect.present * (1.0 - share), effect.present * (1.0 + share)
    told = source.tables.get(SPREAD, {}).get(effect.name)
    if told is not None:  # what a bench left open of it: its 95 % interval
        low, high = effect.present - 1.96 * told, effect.present + 1.96 * told
    from experiments.rigs.table import rig_parts

    bound = next(p for p in declared(type(rig_parts(source.rig())[table])) if p.name == key)
    assert bound.low is not None and bound.high is not None
    return SpreadOut(effect.name, effect.unit, max(min(low, high), bound.low), min(max(low, high), bound.high))


def cost_at(
    source: Source, names: Sequence[str], arterial_mmHg: float, bands: Bands, values: tuple[float, ...]
) -> LoopCost:
    """The figures with these values and firmware that does not know; NaN all along where they make no rig."""
    stage = source.rig().stage
    for name, value in zip(names, values, strict=True):
        table, _, key = name.partition(".")
        source = source.changed(table, key, value)
    try:
        return worst_cost(source.rig()._replace(stage=stage), arterial_mmHg, bands)
    except InputError:
        return LoopCost(*[float("nan")] * 5)


def sobol_study(
    found: Budget, bands: Bands, spread: float, count: int, seed: int, directory: Path | None = None,
    engine: Engine | None = None, progress: Any = None,
) -> Study:
    """Sobol indices of the four figures over `count` (a power of two) base points, `count`·(parameters + 2) in all.

    An unstable point has no phase or delay margin left, a modulus margin below zero, and the largest error seen.
    Raises InputError when SALib is not installed or no parameter has a spread.
    """
    spreads = spreads_of(found, spread)
    if not spreads:
        raise InputError(f"rig {found.source.tables.get('name', '')}: no parameter has a spread")
    points = sample(spreads, count, seed)
    names = tuple(s.name for s in spreads)
    function = partial(cost_at, found.source, names, found.arterial_mmHg, bands)
    about = {"rig": found.source.base, "parameters": list(names), "samples": count, "spread": spread, "seed": seed}
    costs: list[LoopCost] = run([tuple(map(float, row)) for row in points], function, directory, about, engine,
                                BLOCK, progress)
    table = np.array(costs, float)
    unstable = np.isnan(table[:, 0])
    columns = dict(zip(LoopCost._fields, table.T, strict=True))
    values = {name: columns[name][~unstable] for name in FIGURES}
    filled = {
        "phase_margin_deg": np.where(unstable, 0.0, columns["phase_margin_deg"]),
        "delay_margin_ticks": np.where(unstable, 0.0, columns["delay_margin_ticks"]),
        "modulus_margin": np.where(np.isnan(columns["modulus_margin"]), -1.0, columns["modulus_margin"]),
        "error_mmHg": np.where(unstable, np.max(values["error_mmHg"], initial=0.0), columns["error_mmHg"]),
    }
    indices = {name: sobol_indices(spreads, column, seed) for name, column in filled.items()}
    return Study(tuple(spreads), indices, values, float(np.mean(unstable)), len(points))


def _problem(spreads: Sequence[SpreadOut]) -> dict[str, Any]:
    return {"num_vars": len(spreads), "names": [s.name for s in spreads], "bounds": [[s.low, s.high] for s in spreads]}


def _library(module: str) -> Any:
    try:
        return import_module(f"SALib.{module}.sobol")
    except ImportError:
        raise InputError(
            "--samples: Sobol indices need the package SALib: pip install 'cuffloop[sensitivity]', or give --samples 0"
        ) from None


def sample(spreads: Sequence[SpreadOut], count: int, seed: int) -> Reals:
    """Points of Saltelli's scheme over the ranges, shape (count·(parameters + 2), parameters)."""
    points = _library("sample").sample(_problem(spreads), count, calc_second_order=False, seed=seed)
    return np.asarray(points, float)


def sobol_indices(spreads: Sequence[SpreadOut], values: Reals, seed: int) -> Indices:
    """Indices of the values of one figure at the points of `sample`. A figure that never changes has none: zeros."""
    if np.ptp(values) <= 1e-12 * max(float(np.max(np.abs(values))), 1e-300):
        return Indices(*(np.zeros(len(spreads)) for _ in range(4)))
    found = _library("analyze").analyze(_problem(spreads), values, calc_second_order=False, seed=seed + 1)
    return Indices(*(np.asarray(found[key], float) for key in ("S1", "S1_conf", "ST", "ST_conf")))
