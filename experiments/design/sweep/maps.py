"""Maps of a sweep over two axes: margins with contours, the edge of stability, and what keeps all limits."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.design.sweep.axes import Axis
from experiments.design.sweep.study import Study
from experiments.design.sweep.verdict import Limit, best, binding, binding_counts, keeps
from experiments.design.sweep.view import (
    Quantity,
    View,
    heading,
    limit_of,
    present_at,
    quantities,
    rooms,
    short,
    slice_of,
    ticks_of,
)
from experiments.work.style import AMBER, GREY, ORANGE, new_figure, stamp, tidy

FINER = 6  # times, between points


def map_figure(found: Study, limits: list[Limit], view: View) -> Any:
    """Six quantities as maps or, with a third axis, three of them in columns."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    assert view.y is not None
    shown, columns = quantities(found), view.column_values or (None,)
    if view.columns is None:
        figure = new_figure(11.5, 13.0)
        six = figure.subplots(3, 2, sharex=True, sharey=True).flat
        panels: list[tuple[Any, Quantity, int | None]] = [(a, q, None) for a, q in zip(six, shown, strict=True)]
    else:
        shown = [q for q in shown if q.name not in ("phase_margin_deg", "delay_margin_ticks", "command_step_sd")]
        figure = new_figure(2.0 + 3.4 * len(columns), 11.0)
        grid = figure.subplots(3, len(columns), sharex=True, sharey=True, squeeze=False)
        panels = [(grid[row][k], q, c) for row, q in enumerate(shown) for k, c in enumerate(columns)]
    ranges = {q.name: _range(found, q) for q in shown}
    for i, (axes, quantity, column) in enumerate(panels):
        last = i % len(columns) == len(columns) - 1
        picture = _draw(axes, found, limits, view, quantity, column, ranges[quantity.name])
        below = i >= len(panels) - (2 if view.columns is None else len(columns))
        left = i % (2 if view.columns is None else len(columns)) == 0
        tidy(axes, found.axes[view.x].label if below else "", found.axes[view.y].label if left else "")
        axes.grid(False)
        if view.columns is None or last:
            bar = figure.colorbar(picture, ax=axes, pad=0.02, extend=_extended(found, quantity, ranges[quantity.name]))
            bar.set_label("" if view.columns is None else quantity.label)
            if math.isnan(quantity.low):
                levels = [v for v in quantity.levels if ranges[quantity.name][0] <= v <= ranges[quantity.name][1]]
                bar.set_ticks(levels, labels=[f"{v:g}" for v in levels])
                bar.ax.minorticks_off()
        if view.columns is None or column is None:
            axes.set_title(quantity.label, fontsize=10)
        elif i < len(columns):
            other = found.axes[view.columns]
            unit = "" if other.unit in ("", "1") else f" {other.unit}"
            axes.set_title(f"{other.name} = {short(other.values[column])}{unit}", fontsize=10)
    handles = [Line2D([], [], color="black", linewidth=2.5, label="edge of stability"),
               Patch(facecolor="0.85", edgecolor="0.6", hatch="///", label="unstable"),
               Line2D([], [], color=ORANGE, linewidth=2.2, linestyle="--", label="within: keeps all limits"),
               Line2D([], [], color="black", linewidth=1.6, linestyle=":", label="the panel's own limit"),
               Line2D([], [], color="white", marker="D", markeredgecolor="black", linestyle="", label="as it is"),
               Line2D([], [], color=AMBER, marker="*", markersize=13, markeredgecolor="black", linestyle="",
                      label="best that keeps all")]
    if not np.any(keeps(found, limits)):
        handles = [h for h in handles if "keeps all" not in str(h.get_label())]
    figure.legend(handles=handles, loc="outside upper center", ncols=3, frameon=False,
                  title=f"{heading(found, view)}{_binds(found, limits)}", title_fontsize=12)
    stamp(figure)
    return figure


def _binds(found: Study, limits: list[Limit]) -> str:
    """Which limits decide where a point keeps them all and where not, as a second line of the title."""
    at, counts = best(found, limits), binding_counts(found, limits)
    words = [f"{word} at {count}" for word, count in list(counts.items())[:3]]
    told = [f"outside binds {', '.join(words)} of {len(found.points)} points"] if words else []
    told += [f"at the best {binding(found, limits, at)}"] if at is not None and limits else []
    return "\n" + "; ".join(told) if told else ""


def _range(found: Study, quantity: Quantity) -> tuple[float, float]:
    """Ends of the colours: the middle 98 % of the data, within what the quantity is declared for."""
    values = _values(found, quantity)
    if not len(values):
        return (0.1, 1.0) if math.isnan(quantity.low) else (quantity.low, quantity.high)
    low, high = (float(v) for v in np.percentile(values, [1.0, 99.0]))
    if not math.isnan(quantity.low):
        low, high = max(low, quantity.low), min(high, quantity.high)
    return low, max(high, low + 0.05 * abs(low), low + 1e-6)


def _values(found: Study, quantity: Quantity) -> Any:
    values = found.worst(quantity.name)[found.worst("stable") == 1.0]
    values = values[np.isfinite(values)]
    return values[values > 0.0] if math.isnan(quantity.low) else values


def _extended(found: Study, quantity: Quantity, ends: tuple[float, float]) -> str:
    """Which ends of a colour bar stand for what lies beyond."""
    values = _values(found, quantity)
    below, above = bool(np.any(values < ends[0])), bool(np.any(values > ends[1]))
    return "both" if below and above else "min" if below else "max" if above else "neither"


def _draw(
    axes: Any, found: Study, limits: list[Limit], view: View, quantity: Quantity, column: int | None,
    ends: tuple[float, float],
) -> Any:
    """One panel; returns what its colour bar is of."""
    from matplotlib.colors import LogNorm, Normalize
    from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator

    assert view.y is not None
    x, y = ticks_of(found.axes[view.x])[0], ticks_of(found.axes[view.y])[0]

    def cut(values: Any) -> Any:
        return slice_of(found, values, view, column).T

    stable = cut(found.worst("stable"))
    values = np.where(stable == 1.0, cut(found.worst(quantity.name)), np.nan)
    norm = LogNorm(*ends) if math.isnan(quantity.low) else Normalize(*ends)
    colours = "cividis" if quantity.more_is_better else "cividis_r"
    picture = axes.pcolormesh(x, y, values, shading="nearest", norm=norm, cmap=colours, rasterized=True)
    edge = cut(found.worst("signed_modulus_margin"))
    axes.set_facecolor("0.85" if np.any(stable == 0.0) else "white")
    absent = np.where(np.isnan(stable), 1.0, np.nan)
    axes.pcolormesh(x, y, absent, shading="nearest", cmap="gray", vmin=0.0, vmax=1.0, zorder=2)  # white
    with np.errstate(invalid="ignore"):
        if np.any(edge < 0.0):
            axes.contourf(x, y, edge, levels=[-1e9, 0.0], colors=["0.85"], hatches=["///"], zorder=2)
            axes.contour(x, y, edge, levels=[0.0], colors="black", linewidths=2.5, zorder=3)
        _contours(axes, x, y, values, quantity, ends)
        own = limit_of(found, limits, quantity.name)
        finite = values[np.isfinite(values)]
        if math.isfinite(own) and len(finite) and finite.min() < own < finite.max():
            axes.contour(x, y, values, levels=[own], colors="black", linewidths=1.6, linestyles=":", zorder=4)
    fine_x, fine_y, room = _refined(found.axes[view.x], found.axes[view.y], [cut(f) for f in rooms(found, limits)])
    if limits and np.any(room >= 0.0) and np.any(room < 0.0):
        axes.contour(fine_x, fine_y, room, levels=[0.0], colors=ORANGE, linewidths=2.2, linestyles="--", zorder=4)
    _marks(axes, found, limits, view, column)
    for axis, set_scale, low, high in ((found.axes[view.x], axes.set_xscale, x, axes.set_xlim),
                                       (found.axes[view.y], axes.set_yscale, y, axes.set_ylim)):
        if axis.log:
            set_scale("log")
            own = axes.xaxis if set_scale == axes.set_xscale else axes.yaxis
            own.set_major_locator(LogLocator(subs=(1.0, 2.0, 3.0, 5.0)))
            own.set_major_formatter("{x:g}")
            own.set_minor_locator(NullLocator())
        else:
            (axes.xaxis if set_scale == axes.set_xscale else axes.yaxis).set_major_locator(MaxNLocator(6))
        high(low.min(), low.max())
    return picture


def _refined(x_axis: Axis, y_axis: Axis, fields: list[Any]) -> tuple[Any, Any, Any]:
    """The least of some fields between their points: each is interpolated by itself, as the least of them has creases.

    The fields are (y, x); so is the result, on a grid `FINER` times as fine.
    """
    from scipy.interpolate import RegularGridInterpolator

    places = []
    for axis in (y_axis, x_axis):
        at = np.log(axis.values) if axis.log else np.array(axis.values, float)
        order = np.argsort(at)
        places.append((at[order], order, np.interp(np.arange(0, len(at) - 1 + 0.5 / FINER, 1.0 / FINER),
                                                   np.arange(len(at)), at[order])))
    (y, y_order, fine_y), (x, x_order, fine_x) = places
    where = np.stack(np.meshgrid(fine_y, fine_x, indexing="ij"), axis=-1)
    finer = [RegularGridInterpolator((y, x), field[np.ix_(y_order, x_order)])(where) for field in fields]
    least = np.min(finer, axis=0)
    return np.exp(fine_x) if x_axis.log else fine_x, np.exp(fine_y) if y_axis.log else fine_y, least


def _contours(axes: Any, x: Any, y: Any, values: Any, quantity: Quantity, ends: tuple[float, float]) -> None:
    finite = values[np.isfinite(values)]
    levels = [v for v in quantity.levels if len(finite) and finite.min() < v < finite.max()]
    if math.isnan(quantity.low):
        levels = [v for v in levels if v <= ends[1]][:6]
    if levels:
        lines = axes.contour(x, y, values, levels=levels, colors="white", linewidths=1.0, zorder=3)
        labels = axes.clabel(lines, fmt="%g", fontsize=8, colors="white")
        from matplotlib.patheffects import withStroke

        for label in labels:
            label.set_path_effects([withStroke(linewidth=2.0, foreground=GREY)])


def _marks(axes: Any, found: Study, limits: list[Limit], view: View, column: int | None) -> None:
    """The rig as it is, and the best point, where they lie in this panel."""
    assert view.y is not None
    at = best(found, limits)
    if at is not None:
        index = np.unravel_index(at, found.shape)
        here = all(index[i] == k for i, k in view.fixed.items())
        if here and (view.columns is None or index[view.columns] == column):
            axes.plot(ticks_of(found.axes[view.x])[0][index[view.x]], ticks_of(found.axes[view.y])[0][index[view.y]],
                      "*", color=AMBER, markersize=17, markeredgecolor="black", zorder=6, clip_on=False)
    if view.columns is not None and column is not None:
        other = found.axes[view.columns]
        if other.present is None or other.values[column] != other.present:
            return
    x, y = present_at(found.axes[view.x]), present_at(found.axes[view.y])
    inside = (min(found.axes[view.x].values) <= x <= max(found.axes[view.x].values)
              and min(found.axes[view.y].values) <= y <= max(found.axes[view.y].values))
    if inside:
        axes.plot(x, y, "D", color="white", markersize=8, markeredgecolor="black", zorder=5)
