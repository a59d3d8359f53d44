"""Picture of a study of searches: how far off, whether they knew it, how soon, and what it does to the loop's gain."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.calibration.search.piece import FOUND, Row
from experiments.calibration.search.study import Study
from experiments.calibration.search.summary import (
    MIDDLE,
    OWN,
    TRUE,
    TWO_SIDED_90,
    OUTLIER_mmHg,
    crossover_spreads,
    summaries,
)
from experiments.simulation.session import Samples
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = (ORANGE, AMBER, SKY, BLUE, VIOLET, GREEN)
LINES = ("-", "--", "-.", "-", ":", "--")
LEAST_mmHg, MOST_mmHg = 0.02, 60.0  # as drawn


def study_figures(study: Study) -> dict[str, Callable[[], Any]]:
    """The pictures of a study, by the names of their files."""
    return {"searches": lambda: study_figure(study)}


def study_figure(study: Study) -> Any:
    """Distributions of error and of time, error against what was stated, and crossover by light slope."""
    plan, rows = study
    figure = new_figure(11.0, 8.6)
    (errors, stated), (times, crossovers) = figure.subplots(2, 2, gridspec_kw={"width_ratios": [1.0, 1.0]})
    strategies = list(dict.fromkeys(r.strategy for r in rows))
    found = {s: [r for r in rows if r.strategy == s and not r.defect and r.outcome == FOUND] for s in strategies}
    _draw_errors(errors, found)
    _draw_stated(stated, found)
    _draw_times(times, found)
    _draw_crossovers(crossovers, rows, found)
    many = f"{plan.fingers} virtual fingers ({plan.group}, seed {plan.seed})"
    figure.suptitle(f"Set-point searches of {plan.rig} on {many}")
    declared = ", ".join(f"{s.strategy} {s.fingers - s.found}" for s in summaries(rows))
    stamp(figure, f"failures declared on measurable fingers: {declared}")
    return figure


def _style(index: int) -> tuple[str, str]:
    return COLOURS[index % len(COLOURS)], LINES[index % len(LINES)]


def _short(strategy: str) -> str:
    return strategy if ".py:" not in strategy else strategy.rpartition(":")[2]


def _distribution(axes: Any, values: Samples, index: int, name: str) -> None:
    """Share of the fingers at or below each value."""
    colour, line = _style(index)
    finite = np.sort(values[np.isfinite(values)])
    share = 100.0 * np.arange(1, len(finite) + 1) / max(len(values), 1)
    axes.step(finite, share, line, where="post", color=colour, linewidth=1.6, label=name)


def _draw_errors(axes: Any, found: dict[str, list[Row]]) -> None:
    for i, (strategy, rows) in enumerate(found.items()):
        off = np.abs(np.array([r.error_mmHg for r in rows], float))
        _distribution(axes, np.maximum(off, LEAST_mmHg), i, _short(strategy))
    axes.set_xscale("log")
    axes.set_xlim(0.05, MOST_mmHg)
    axes.set_ylim(0.0, 101.0)
    for share in (50.0, 95.0):
        axes.axhline(share, color=GREY, linewidth=0.8, linestyle=":")
        axes.annotate(f"{share:g} %", (0.055, share), textcoords="offset points", xytext=(0, 2), fontsize=8, color=GREY)
    axes.axvline(OUTLIER_mmHg, color=GREY, linewidth=0.8, linestyle=":")
    axes.annotate(f"{OUTLIER_mmHg:g} mmHg", (OUTLIER_mmHg, 3.0), textcoords="offset points", xytext=(3, 0), fontsize=8,
                  color=GREY)
    axes.xaxis.set_major_formatter("{x:g}")
    tidy(axes, "set point off by at most (mmHg transmural)", "share of fingers (%)")
    _head(axes, "How far off?")


def _draw_stated(axes: Any, found: dict[str, list[Row]]) -> None:
    rows_in_all = [r for rows in found.values() for r in rows]
    for i, (strategy, rows) in enumerate(found.items()):
        sd, off = (np.array([getattr(r, name) for r in rows], float) for name in ("sd_mmHg", "error_mmHg"))
        off = np.clip(np.abs(off), LEAST_mmHg, MOST_mmHg)
        inside = 100.0 * np.mean(off <= TWO_SIDED_90 * sd) if len(rows) else math.nan
        spread = np.exp(np.random.default_rng(1).normal(0.0, 0.012, len(sd)))  # a rule that always says the same
        axes.plot(sd * spread, off, ".", color=_style(i)[0], markersize=4.5, alpha=0.75,
                  label=f"{_short(strategy)} {inside:.0f} %")
    line = np.array([LEAST_mmHg, 2 * MOST_mmHg])
    axes.plot(line, TWO_SIDED_90 * line, color=GREY, linewidth=1.0)
    axes.set_xscale("log")
    axes.set_yscale("log")
    sds = [r.sd_mmHg for r in rows_in_all] or [1.0]
    low, high = 0.7 * min(sds), 1.4 * max(sds)
    axes.set_xlim(low, high)
    axes.set_ylim(LEAST_mmHg, MOST_mmHg)
    axes.text(0.03, 0.97, "90 % should lie below the line", transform=axes.transAxes, va="top", fontsize=8, color=GREY)
    axes.xaxis.set_major_formatter("{x:g}")
    axes.yaxis.set_major_formatter("{x:g}")
    axes.xaxis.set_minor_formatter("")
    tidy(axes, "standard deviation that the search states (mmHg)", "off by (mmHg transmural)")
    _head(axes, "Did it know? Share within its own 90 % interval:")


def _draw_times(axes: Any, found: dict[str, list[Row]]) -> None:
    for i, rows in enumerate(found.values()):
        colour = _style(i)[0]
        first, whole = (np.array([getattr(r, name) for r in rows], float) for name in ("first_waveform_s", "search_s"))
        for values, height, face in ((first, i - 0.16, colour), (whole, i + 0.16, "white")):
            values = values[np.isfinite(values)]
            if not len(values):
                continue
            low, quarter, middle, three, high = np.percentile(values, [5, 25, 50, 75, 95])
            axes.plot([low, high], [height, height], color=colour, linewidth=1.2)
            axes.plot([quarter, three], [height, height], color=colour, linewidth=5.0, solid_capstyle="butt", alpha=0.6)
            axes.plot([middle], [height], "o", color=colour, markerfacecolor=face, markersize=6)
    axes.set_yticks(range(len(found)), [_short(s) for s in found])
    axes.set_ylim(len(found) - 0.5, -0.5)
    axes.set_xlim(left=0.0)
    axes.plot([], [], "o", color=GREY, label="first waveform")
    axes.plot([], [], "o", color=GREY, markerfacecolor="white", label="set point final")
    axes.plot([], [], color=GREY, linewidth=1.2, label="5 … 95 % of fingers")
    tidy(axes, "time from the empty cuff (s)", "")
    _head(axes, "How soon?")


def _draw_crossovers(axes: Any, rows: list[Row], found: dict[str, list[Row]]) -> None:
    strategies = list(found)
    each = [r for r in rows if not r.defect and r.strategy == strategies[0]]
    spreads = crossover_spreads(rows)
    groups = [(OWN, "one slope:\nrig's own finger", GREY, [(r.own_crossover_Hz, r.own_stable) for r in each]),
              (MIDDLE, "one slope:\nmiddle finger", GREY, [(r.middle_crossover_Hz, r.middle_stable) for r in each])]
    for i, s in enumerate(strategies):
        groups.append((s, f"found by\n{_short(s)}", _style(i)[0], [(r.crossover_Hz, r.stable) for r in found[s]]))
    groups.append((TRUE, "true slope", GREEN, [(r.true_crossover_Hz, r.true_stable) for r in each]))
    jitter = np.random.default_rng(2)
    highest = 1.0
    for i, (name, _, colour, loops) in enumerate(groups):
        values, stable = np.array([v for v, _ in loops], float), np.array([s for _, s in loops], bool)
        height = i + jitter.uniform(-0.26, 0.26, len(values))
        axes.plot(values[stable], height[stable], ".", color=colour, markersize=4, alpha=0.7)
        axes.plot(values[~stable], height[~stable], "x", color=colour, markersize=4, alpha=0.8)
        spread = spreads[name]
        axes.plot([spread.low_Hz, spread.high_Hz], [i, i], color="black", linewidth=1.4)
        highest = max(highest, float(np.nanmax(values, initial=1.0)))
    axes.set_yticks(range(len(groups)), [label for _, label, _, _ in groups], fontsize=8)
    axes.set_ylim(len(groups) - 0.5, -0.5)
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter("{x:g}")
    axes.plot([], [], ".", color=GREY, label="finger")
    axes.plot([], [], "x", color=GREY, markersize=4, label="unstable loop")
    axes.plot([], [], color="black", linewidth=1.4, label="5 … 95 %")
    tidy(axes, "crossover of the loop (Hz)", "")
    _head(axes, "Does the slope found make every finger's loop alike?")


def _head(axes: Any, text: str) -> None:
    axes.set_title(text, loc="left", fontsize=10, pad=20)
    axes.legend(frameon=False, ncols=4, loc="lower left", bbox_to_anchor=(-0.03, 0.985), fontsize=8, columnspacing=1.0,
                handlelength=1.6, handletextpad=0.5)
