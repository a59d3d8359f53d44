"""Pictures of a rig's budget: what each natural step brings, and which spreads make the figures spread."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.design.budget.sensitivity import Budget
from experiments.design.budget.sobol import FIGURES, Study
from experiments.design.budget.text import telling
from experiments.work.style import BLUE, GREY, ORANGE, SKY, new_figure, stamp, tidy

MOST_BARS = 18
PANELS = (("phase margin (°)", 1.0, "{:+.1f}"), ("delay margin (ticks)", 1.0, "{:+.2f}"),
          ("sensitivity peak Ms", -1.0, "{:+.2f}"), ("error, rms (mmHg)", -1.0, "{:+.3f}"))
SQUEEZE = 2.5  # a bar longer than this many times the next one is cut there


def steps_figure(found: Budget) -> Any:
    """Bars of the natural steps, sorted by what they do to the phase margin; orange is the bad direction."""
    effects = telling(found)[:MOST_BARS][::-1]
    figure = new_figure(14.0, 1.8 + 0.34 * max(len(effects), 3))
    grid = figure.subplots(1, len(PANELS), sharey=True, gridspec_kw={"width_ratios": [1.25, 1, 1, 1]})
    for k, (axes, (label, good, form)) in enumerate(zip(grid, PANELS, strict=True)):
        changes = np.array([np.nan if e.effect is None else e.effect[k] for e in effects])
        reach = _reach(changes)
        drawn = np.clip(np.nan_to_num(changes), -reach, reach)
        axes.barh(range(len(effects)), drawn, color=[BLUE if c * good >= 0 else ORANGE for c in changes], height=0.72)
        for i, (change, length) in enumerate(zip(changes, drawn, strict=True)):
            text = "unstable" if np.isnan(change) else form.format(change).replace("-", "−")
            text = text if np.isnan(change) or any(c in text for c in "123456789") else "0"
            text += " »" if abs(change) > reach else ""
            axes.annotate(text, (length, i), xytext=(-4 if length < 0 else 4, 0), textcoords="offset points",
                          ha="right" if length < 0 else "left", va="center", fontsize=8,
                          color=GREY if text == "0" else "black")
        axes.axvline(0.0, color=GREY, linewidth=0.8)
        axes.set_xlim(-1.95 * reach, 1.75 * reach)
        now = found.present[k]
        tidy(axes, f"change of {label}\nnow {now:.3g}", "")
        axes.grid(axis="y", visible=False)
    grid[0].set_yticks(range(len(effects)), [e.words for e in effects])
    name = found.source.tables.get("name", "")
    figure.suptitle(f"{name} at {found.arterial_mmHg:g} mmHg: what one step of each part brings "
                    "(orange: for the worse, blue: for the better)", fontsize=12)
    stamp(figure)
    return figure


def _reach(changes: Any) -> float:
    """Length of the longest bar that is drawn whole."""
    sizes = np.sort(np.abs(changes[np.isfinite(changes)]))[::-1]
    if not len(sizes) or sizes[0] == 0.0:
        return 1.0
    cut = SQUEEZE * sizes[min(1, len(sizes) - 1)]
    return float(cut if 0.0 < cut < 0.8 * sizes[0] else sizes[0])  # a cut that saves little is not worth its mark


def sobol_figure(found: Budget, study: Study) -> Any:
    """Total and first-order indices of each figure, parameters in the order of their largest total index."""
    order = np.argsort([max(float(i.total[k]) for i in study.indices.values()) for k in range(len(study.spreads))])
    names = [_label(study, int(k)) for k in order]
    figure = new_figure(14.0, 1.9 + 0.48 * max(len(names), 3))
    grid = figure.subplots(1, len(FIGURES), sharey=True)
    at = np.arange(len(names))
    for axes, (figure_name, what) in zip(grid, FIGURES.items(), strict=True):
        indices = study.indices[figure_name]
        axes.barh(at, indices.total[order], color=SKY, height=0.74, label="total index: with others")
        axes.barh(at, np.maximum(indices.first[order], 0.0), color=BLUE, height=0.4, label="first-order: by itself")
        axes.errorbar(indices.total[order], at, xerr=indices.total_interval[order], fmt="none", ecolor="black",
                      elinewidth=1.0, capsize=2.5, label="95 % interval of the total")
        values = study.values[figure_name]
        span = "{:.3g} … {:.3g}".format(*np.percentile(values, [5.0, 95.0])) if len(values) else "none stable"
        axes.set_xlim(0.0, max(1.0, 1.05 * float(np.max(indices.total + indices.total_interval))))
        tidy(axes, f"share of the variance of\n{what}\n(5 to 95 %: {span})", "")
        axes.grid(axis="y", visible=False)
    grid[0].set_yticks(at, names, fontsize=9)
    handles, labels = grid[0].get_legend_handles_labels()
    title = f"{found.source.tables.get('name', '')}: which spreads matter, {study.points} points"
    if study.unstable_share:
        title += f", {100 * study.unstable_share:.1f} % of them unstable"
    figure.legend(handles, labels, loc="outside upper center", ncols=3, frameon=False, title=title, title_fontsize=12)
    stamp(figure)
    return figure


def _label(study: Study, k: int) -> str:
    spread = study.spreads[k]
    unit = "" if spread.unit in ("", "1") or spread.name.endswith(spread.unit) else f" {spread.unit}"
    return f"{spread.name}\n{spread.low:.3g} … {spread.high:.3g}{unit}"
