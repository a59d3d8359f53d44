"""Pictures of a sweep: maps of two axes, lines of one, columns for a third, and clouds of a sample."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.design.sweep.maps import map_figure
from experiments.design.sweep.study import Study
from experiments.design.sweep.verdict import Limit, best, keeps
from experiments.design.sweep.view import (
    Quantity,
    View,
    heading,
    limit_of,
    present_at,
    quantities,
    short,
    slice_of,
    ticks_of,
    view_of,
)
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

LINE_COLOURS = (BLUE, ORANGE, GREEN, VIOLET, SKY, AMBER)
SPREAD = ("worst finger", "median finger", "5 to 95 % of fingers")
LINE_STYLES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1)))


def study_figures(found: Study, limits: list[Limit]) -> dict[str, Callable[[], Any]]:
    """The pictures of a sweep, by file name."""
    if found.sampled:
        return {"sweep": lambda: cloud_figure(found, limits)}
    view = view_of(found)
    if view.y is not None:
        return {"sweep": lambda: map_figure(found, limits, view)}
    return {"sweep": lambda: lines_figure(found, limits, view)}


def lines_figure(found: Study, limits: list[Limit], view: View) -> Any:
    """Six quantities along one axis; a second axis tells lines apart, a third columns."""
    columns = view.column_values or (None,)
    shown = quantities(found)
    figure = new_figure(5.2 + 3.3 * len(columns), 14.0)
    grid = figure.subplots(len(shown), len(columns), sharex=True, sharey="row", squeeze=False)
    axis = found.axes[view.x]
    at, names = ticks_of(axis)
    for row, quantity in enumerate(shown):
        for k, column in enumerate(columns):
            axes = grid[row][k]
            _draw_lines(axes, found, view, quantity, column, at)
            limit = limit_of(found, limits, quantity.name)
            if math.isfinite(limit):
                axes.axhline(limit, color="black", linewidth=1.0, linestyle=(0, (1, 1)))
                axes.annotate("limit", (1.0, limit), xycoords=("axes fraction", "data"), fontsize=7, ha="right",
                              va="bottom", color="black", xytext=(-2, 1), textcoords="offset points")
            present = present_at(axis)
            if at.min() <= present <= at.max():
                axes.axvline(present, color=GREY, linewidth=1.0)
                if row == 0:
                    axes.annotate("as it is", (present, 0.0), xycoords=("data", "axes fraction"), fontsize=8,
                                  color=GREY, va="bottom", ha="left", xytext=(3, 3), textcoords="offset points")
            tidy(axes, axis.label if row == len(shown) - 1 else "", quantity.label if k == 0 else "")
            _scales(axes, axis.log, quantity)
            if names:
                axes.set_xticks(at, names)
            if row == 0 and column is not None and view.columns is not None:
                other = found.axes[view.columns]
                axes.set_title(f"{other.name} = {short(other.values[column])} {_unit(other.unit)}", fontsize=10)
        _limit_range(grid[row], quantity)
    title = heading(found, view) + ("  (where a line ends: unstable)" if np.any(found.worst("stable") != 1.0) else "")
    if view.lines is not None:
        handles, labels = grid[0][0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside upper center", ncols=len(labels), frameon=False,
                      title=f"{title}\n{found.axes[view.lines].label}", title_fontsize=11)
    elif found.fingers:
        first = grid[0][0]
        figure.legend([*first.lines[:2], first.collections[0]], list(SPREAD), loc="outside upper center",
                      ncols=len(SPREAD), frameon=False, title=title, title_fontsize=11)
    else:
        figure.suptitle(title, fontsize=11)
    stamp(figure)
    return figure


def _unit(unit: str) -> str:
    return "" if unit in ("", "1") else unit


def _draw_lines(axes: Any, found: Study, view: View, quantity: Quantity, column: int | None, at: Any) -> None:
    numbers = range(len(found.axes[view.lines].values)) if view.lines is not None else (None,)
    for i, line in enumerate(numbers):
        values = slice_of(found, found.worst(quantity.name), view, column, line)
        colour, style = LINE_COLOURS[i % len(LINE_COLOURS)], LINE_STYLES[i % len(LINE_STYLES)]
        label = "" if line is None or view.lines is None else short(found.axes[view.lines].values[line])
        marker = "o" if len(at) <= 30 else ""
        axes.plot(at, values, linestyle=style, color=colour, marker=marker, markersize=3.5, label=label or None)
        if found.fingers and view.lines is None:
            k = found.names.index(quantity.name)
            low, middle, high = (slice_of(found, v, view, column) for v in _spread(found.figures[:, :, k]))
            axes.fill_between(at, low, high, color=SKY, alpha=0.3, linewidth=0)
            axes.plot(at, middle, color=SKY, linewidth=1.2)


def _spread(values: Any) -> Any:
    """5th, 50th and 95th percentile over fingers, where every finger has a value."""
    whole = ~np.any(np.isnan(values), axis=1)
    found = np.full((3, len(values)), np.nan)
    if np.any(whole):
        found[:, whole] = np.percentile(values[whole], [5.0, 50.0, 95.0], axis=1)
    return found


def _scales(axes: Any, log: bool, quantity: Quantity) -> None:
    """Logarithmic where the axis or the quantity is, with plain numbers."""
    from matplotlib.ticker import LogLocator, NullLocator

    for own, wanted, set_scale in ((axes.xaxis, log, axes.set_xscale),
                                   (axes.yaxis, math.isnan(quantity.low), axes.set_yscale)):
        if wanted:
            set_scale("log")
            own.set_major_locator(LogLocator(subs=(1.0, 2.0, 3.0, 5.0)))
            own.set_major_formatter("{x:g}")
            own.set_minor_locator(NullLocator())


def _limit_range(row: Any, quantity: Quantity) -> None:
    """Keep one point next to instability from flattening all the others."""
    if quantity.name == "sensitivity_peak":
        low, high = row[0].get_ylim()
        row[0].set_ylim(max(low, 1.0), min(high, 6.0))


def cloud_figure(found: Study, limits: list[Limit]) -> Any:
    """Each sampled point against each axis: which values go with margins that hold, and which with a small error."""
    from matplotlib.ticker import MaxNLocator

    shown = [q for q in quantities(found) if q.name not in ("delay_margin_ticks", "command_step_sd")]
    figure = new_figure(2.2 + 2.8 * len(found.axes), 10.6)
    grid = figure.subplots(len(shown), len(found.axes), sharex="col", sharey="row", squeeze=False)
    kept, at = keeps(found, limits), best(found, limits)
    stable = found.worst("stable") == 1.0
    for k, axis in enumerate(found.axes):
        _, names = ticks_of(axis)
        where = np.array([axis.values.index(p[k]) if axis.words else p[k] for p in found.points], float)
        if axis.words:  # side by side rather than one upon the other
            where += 0.6 * (np.arange(len(where)) * 0.618 % 1.0) - 0.3
        for row, quantity in enumerate(shown):
            axes, values = grid[row][k], found.worst(quantity.name)
            for chosen, colour, mark, label in ((stable & ~kept, ORANGE, "x", "misses a limit"),
                                                (kept, BLUE, "o", "keeps all limits")):
                if not np.any(chosen):
                    continue
                axes.scatter(where[chosen], values[chosen], s=14, color=colour, marker=mark, linewidths=0.9,
                             label=label)
            if at is not None:
                axes.scatter(where[at], values[at], s=130, color=AMBER, marker="*", edgecolors="black", zorder=4,
                             label="best that keeps all")
            if not np.all(stable):
                low, high = axes.get_ylim()
                axes.scatter(where[~stable], np.full(np.sum(~stable), 0.02), s=16, color=GREY, marker="|",
                             transform=axes.get_xaxis_transform(), alpha=0.4, label="unstable (at the foot)")
                axes.set_ylim(low, high)
            limit = limit_of(found, limits, quantity.name)
            if math.isfinite(limit):
                axes.axhline(limit, color="black", linewidth=1.0, linestyle=(0, (1, 1)), label="limit")
            tidy(axes, axis.label if row == len(shown) - 1 else "", quantity.label if k == 0 else "")
            _scales(axes, axis.log, quantity)
            if not (names or axis.log):
                axes.xaxis.set_major_locator(MaxNLocator(4))
            if names:
                axes.set_xticks(np.arange(len(names)), names)
                axes.set_xlim(-0.5, len(names) - 0.5)
    for row, quantity in enumerate(shown):
        _limit_range(grid[row], quantity)
    handles, labels = grid[0][0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=len(labels), frameon=False,
                  title=f"{heading(found, None)}: {len(found.points)} sampled points", title_fontsize=11)
    stamp(figure)
    return figure
