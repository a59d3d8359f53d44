"""Pictures of readings over hours: output and variation under schedules, a day on two fingers, failures."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.trend.failures import READINGS, UNITS
from experiments.trend.study import Study
from experiments.trend.text import signed, silent
from experiments.trend.turns import WAYS
from experiments.trend.windows import WINDOW_s, Worth
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = (BLUE, GREEN, VIOLET, AMBER, SKY, "#000000", "#8B5A2B")
LINES = ("-", "--", "-.", ":")
MOST_FAILURES = 20


def trend_figures(study: Study) -> dict[str, Callable[[], Any]]:
    """By the names of their files."""
    found: dict[str, Callable[[], Any]] = {
        f"hour_{scenario}": lambda scenario=scenario: hour_figure(study, scenario)  # type: ignore[misc]
        for scenario in study.plan.scenarios}
    found["turns"] = lambda: turns_figure(study)
    if study.harms:
        found["failures"] = lambda: failures_figure(study)
    return found


def hour_figure(study: Study, scenario: str) -> Any:
    """Mean pressure, output and variation over time under every schedule, the truth beside; what was shown below."""
    rows = [row for row in study.rows if row.scenario == scenario]
    figure = new_figure(11.0, 8.4)
    panels = figure.subplots(4, 1, sharex=True, gridspec_kw={"height_ratios": [1.2, 1.2, 1.2, 0.3 + 0.18 * len(rows)]})
    pressures, outputs, variations, shown = panels
    for k, row in enumerate(rows):
        colour = COLOURS[k % len(COLOURS)]
        look: dict[str, Any] = {"color": colour, "linestyle": LINES[k % len(LINES)], "linewidth": 1.4}
        course = row.course
        time = course.time_s / 60.0
        pressures.plot(time, course.mean_mmHg, label=row.schedule, **look)
        outputs.plot(time, course.output_L_min, label=row.schedule, **look)
        variations.plot(time, course.variation_percent, marker=".", markersize=3, label=row.schedule, **look)
        _shown(shown, row, k, colour)
    if rows:
        _truth(rows, (pressures, outputs, variations))
    tidy(pressures, "", "mean, upper arm (mmHg)")
    tidy(outputs, "", "output (L/min)")
    tidy(variations, "", "variation (%)")
    tidy(shown, "time (min)", "")
    shown.set_yticks(range(len(rows)), [row.schedule for row in rows])
    shown.set_ylim(len(rows) - 0.4, -0.6)
    for axes in (pressures, outputs, variations):
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.25 * (high - low))
        axes.legend(fontsize=8, frameon=False, loc="upper right", ncols=len(rows) + 2)
    shown.set_title(f"bars: waveform shown; dark: {WINDOW_s:g} s unbroken behind it", fontsize=8, loc="left")
    figure.suptitle(f"{study.plan.rig.name}, {study.plan.name}, scenario {scenario}: means over windows of "
                    f"{WINDOW_s:g} s; output by {study.plan.estimator} after a reference in the first minute",
                    fontsize=10)
    stamp(figure, "virtual person, scenario invented; estimates from a model, no clinical use")
    return figure


def _truth(rows: list[Worth], panels: tuple[Any, Any, Any]) -> None:
    """The truth, taken from the schedule that shows most of it."""
    best = max(rows, key=lambda row: float(np.sum(row.course.shown))).course
    time = best.time_s / 60.0
    truths = (best.true_mean_mmHg, best.true_output_L_min, best.true_variation_percent)
    for axes, values in zip(panels, truths, strict=True):
        axes.plot(time, values, color=ORANGE, linewidth=1.2, label="true")
    kept = best.true_output_L_min[np.isfinite(best.true_output_L_min)]
    if len(kept):
        panels[1].axhline(kept[0], color=GREY, linewidth=1.0, linestyle=":", label="null: a constant")


def _shown(axes: Any, row: Worth, place: int, colour: str) -> None:
    pieces = row.shown_s / 60.0
    axes.broken_barh([(b, e - b) for b, e in pieces.tolist()], (place - 0.3, 0.6), color=colour, alpha=0.3, linewidth=0)
    behind = [(b + WINDOW_s / 60.0, e - b - WINDOW_s / 60.0) for b, e in pieces.tolist() if e - b > WINDOW_s / 60.0]
    axes.broken_barh(behind, (place - 0.3, 0.6), color=colour, linewidth=0)


def turns_figure(study: Study) -> Any:
    """One pair of fingers over the day, and the spread of many pairs."""
    day = study.day
    figure = new_figure(11.0, 5.6)
    one, many = figure.subplots(2, 1, sharex=True)
    colours = dict(zip(WAYS, (BLUE, ORANGE, GREEN), strict=True))
    one.plot(day.time_h, day.true_mmHg, color=GREY, linewidth=1.0, label="true, about its mean")
    for way, line in zip(WAYS, ("-", "--", "-."), strict=True):
        one.plot(day.time_h, day.true_mmHg + day.error_mmHg[way][0], color=colours[way], linestyle=line, linewidth=1.1,
                 label=way)
        many.plot(day.time_h, np.std(day.error_mmHg[way], axis=0), color=colours[way], linestyle=line, linewidth=1.4,
                  label=way)
    second = np.flatnonzero(np.diff(np.concatenate([[0], day.finger, [0]])))
    for axes in (one, many):
        for begin, end in second.reshape(-1, 2).tolist():
            axes.axvspan(begin / 60.0, end / 60.0, color=GREY, alpha=0.10, linewidth=0)
    tidy(one, "", "one pair, mean (mmHg)")
    tidy(many, "time (h)", "SD of the error (mmHg)")
    for axes in (one, many):
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.22 * (high - low))
        axes.legend(fontsize=8, frameon=False, loc="upper left", ncols=4)
    figure.suptitle(f"two fingers in turn, every {day.told.turn_min:g} min; grey: the second finger; below: "
                    f"{len(day.error_mmHg[WAYS[0]])} pairs, since the first minutes", fontsize=10)
    stamp(figure, "spreads invented")
    return figure


def failures_figure(study: Study) -> Any:
    """Failures that reach a reading: size of the change in each, on a logarithmic scale of colour, numbers within."""
    from matplotlib.colors import LogNorm

    rows = silent(study.harms)[:MOST_FAILURES]
    table = np.array([[abs(v) for v in row.changes.values()] for row in rows]).reshape(len(rows), len(READINGS))
    figure = new_figure(8.5, 1.9 + 0.32 * max(len(rows), 1))
    axes = figure.subplots()
    drawn = axes.imshow(np.clip(np.nan_to_num(table), 0.1, 100.0), cmap="Blues", norm=LogNorm(0.1, 100.0),
                        aspect="auto")
    axes.set_xticks(range(len(READINGS)), [f"{name}\n({UNITS[name]})" for name in READINGS])
    axes.set_yticks(range(len(rows)), [f"{row.name.replace('_', ' ')}, {_when(row.warned_s)}" for row in rows])
    for i, row in enumerate(rows):
        for j, value in enumerate(row.changes.values()):
            if math.isfinite(value):
                axes.text(j, i, signed(value), ha="center", va="center", fontsize=8,
                          color="white" if abs(value) > 12.0 else "black")
    figure.colorbar(drawn, ax=axes, label="size of the change")
    quick = len(study.harms) - len(silent(study.harms))
    axes.set_title(f"{study.plan.rig.name}: failures that reach a reading before a warning\n"
                   f"({quick} others are warned of within five beats)", fontsize=10, loc="left")
    stamp(figure, "rig's own finger, all protection")
    return figure


def _when(warned_s: float) -> str:
    return "no warning" if math.isinf(warned_s) else f"warned after {warned_s:.1f} s"
