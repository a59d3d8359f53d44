"""Which slice of a sweep a picture shows, and in which quantities: two axes, or one axis in a few lines, in columns.

x is the longest numeric axis; y the next one when it has at least six values, else the axis that tells lines apart; a
third axis makes up to five columns. What more there is stands at its value nearest to the rig as it is.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.sweep.axes import Axis
from experiments.design.sweep.study import Study
from experiments.design.sweep.verdict import Limit, goal, value_word

Reals = NDArray[np.float64]

LEAST_FOR_MAP = 6  # values of both axes
MOST_COLUMNS = 5
MOST_LINES = 6


class Quantity(NamedTuple):
    """One panel: what it shows, and where its contours are."""

    name: str
    label: str
    levels: tuple[float, ...]
    low: float  # of the colours; NaN: of the data
    high: float
    more_is_better: bool


class View(NamedTuple):
    """A slice, as numbers of the axes."""

    x: int
    y: int | None  # of a map
    lines: int | None  # of lines in one panel
    columns: int | None
    column_values: tuple[int, ...]  # which values of that axis
    fixed: dict[int, int]  # axis: number of its value


def quantities(found: Study) -> list[Quantity]:
    """The six panels of a sweep."""
    error = found.case.figures[goal(found)]
    how = "simulated" if found.case.simulated else "predicted"
    return [
        Quantity("phase_margin_deg", "phase margin (°)", (15, 30, 45, 60, 75), 0.0, 90.0, True),
        Quantity("gain_margin_dB", "gain margin (dB)", (3, 6, 9, 12, 15, 20), 0.0, 20.0, True),
        Quantity("sensitivity_peak", "sensitivity peak Ms", (1.4, 1.6, 2.0, 3.0, 5.0), 1.0, 6.0, False),
        Quantity("delay_margin_ticks", "delay margin (ticks)", (1, 2, 3, 4, 6, 8, 12, 16, 24), 0.0, 30.0, True),
        Quantity(goal(found), f"tracking error, rms, {how} ({error.unit})",
                 (0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 10), math.nan, math.nan, False),
        Quantity("command_step_sd", "command, SD tick to tick (share of full)",
                 (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5), math.nan, math.nan, False),
    ]


def limit_of(found: Study, limits: list[Limit], name: str) -> float:
    """The limit on a figure; NaN when there is none. Ms is held to the modulus margin's, ticks of delay to seconds'."""
    given = [limit for limit in limits if limit.name == name]
    if given:
        return given[0].low if math.isfinite(given[0].low) else given[0].high
    if name == "sensitivity_peak":
        modulus = limit_of(found, limits, "modulus_margin")
        return 1.0 / modulus if modulus > 0 else math.nan
    if name == "delay_margin_ticks" and "timing.period_s" not in found.case.names:
        return limit_of(found, limits, "delay_margin_s") / found.case.source.rig().timing.period_s
    return math.nan


def view_of(found: Study) -> View:
    """The slice of a grid that answers most at a glance."""
    lengths = [0 if axis.words else len(axis.values) for axis in found.axes]
    order = sorted(range(len(found.axes)), key=lambda i: (-lengths[i], i))
    x, rest = order[0], order[1:]
    y = rest.pop(0) if rest and lengths[rest[0]] >= LEAST_FOR_MAP and lengths[x] >= LEAST_FOR_MAP else None
    lines = rest.pop(0) if y is None and rest and len(found.axes[rest[0]].values) <= MOST_LINES else None
    columns = rest.pop(0) if rest else None
    chosen: tuple[int, ...] = ()
    if columns is not None:
        count = len(found.axes[columns].values)
        chosen = tuple(dict.fromkeys(round(v) for v in np.linspace(0, count - 1, min(count, MOST_COLUMNS))))
    return View(x, y, lines, columns, chosen, {i: nearest(found.axes[i]) for i in rest})


def nearest(axis: Axis) -> int:
    """The number of the value nearest to the present one; the middle one when there is none."""
    if axis.present is None:
        return len(axis.values) // 2
    if axis.words:
        return axis.values.index(axis.present) if axis.present in axis.values else 0
    values = np.array(axis.values, float)
    if axis.log:
        return int(np.argmin(np.abs(np.log(values / axis.present)))) if axis.present > 0 else 0
    return int(np.argmin(np.abs(values - axis.present)))


def slice_of(found: Study, values: NDArray[Any], view: View, column: int | None, line: int | None = None) -> Any:
    """Values of all points cut down to (x) or, of a map, (x, y)."""
    index: list[Any] = [slice(None)] * len(found.axes)
    for axis, number in view.fixed.items():
        index[axis] = number
    if view.columns is not None:
        index[view.columns] = column
    if view.lines is not None:
        index[view.lines] = line
    cut = values.reshape(found.shape)[tuple(index)]
    return cut.T if view.y is not None and view.y < view.x else cut


def rooms(found: Study, limits: list[Limit]) -> list[Reals]:
    """How far each point is inside each limit (from 0 up) or outside it (below 0), as a share of the limit.

    The first is stability's. Each is smooth, so the outline of what keeps them all can be drawn between points.
    """
    stable = found.worst("stable") == 1.0
    fields = [np.where(stable, found.worst("modulus_margin"), np.minimum(found.worst("signed_modulus_margin"), -1e-3))]
    if found.case.simulated:
        fields.append(np.where(found.worst("run_done") == 1.0, 1.0, -1.0))
    fields += [limit.room(found.worst(limit.name)) for limit in limits]
    return [np.clip(np.where(np.isnan(field), -1.0, field), -1.0, 10.0) for field in fields]


def ticks_of(axis: Axis) -> tuple[Reals, list[str] | None]:
    """Where the values of an axis stand, and their names when they are words."""
    if axis.words:
        return np.arange(len(axis.values), dtype=float), [value_word(value) for value in axis.values]
    return np.array(axis.values, float), None


def present_at(axis: Axis) -> float:
    """Where the rig as it is stands on an axis; NaN when nowhere."""
    if axis.present is None:
        return math.nan
    if axis.words:
        return float(axis.values.index(axis.present)) if axis.present in axis.values else math.nan
    return float(axis.present)


def heading(found: Study, view: View | None) -> str:
    """The rig, on what pressure or whose, and the axes that stand still."""
    name = found.case.source.tables.get("name", "")
    on = f" on {found.case.trace.name}{' pressure' if found.case.trace.name == 'synthetic' else ''}" \
        if found.case.trace else ""
    who = f"worst of {len(found.fingers)} fingers at each point" if len(found.fingers) > 1 else ""
    if len(found.fingers) == 1:
        on = f" on finger {found.fingers[0].name}"
    still = ", ".join(f"{found.axes[i].name} = {short(found.axes[i].values[k])}" for i, k in view.fixed.items()) \
        if view else ""
    rest = "; ".join(filter(None, (who, still)))
    return f"{name}{on}{': ' if rest else ''}{rest}"


def short(value: Any) -> str:
    """A value for a title or legend."""
    return f"{value:.3g}" if isinstance(value, float) else value_word(value)
