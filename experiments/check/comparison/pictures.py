"""Picture of rigs side by side: sensitivity of the worst loop, phase by part, and the error of the settled clamp."""
from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.check.check import Check
from experiments.check.comparison.study import Comparison
from experiments.check.pictures_loop import LOWEST_Hz, loop_response
from experiments.check.pictures_run import shown_window
from experiments.work.style import BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = (BLUE, ORANGE, GREEN, VIOLET, SKY, GREY)
LINES = ("-", "--", "-.", ":", "-", "--")
HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
POINTS = 600
LEAST_deg = 0.5  # of phase, below which a part is not drawn


def comparison_figures(found: Comparison) -> dict[str, Callable[[], Any]]:
    """The pictures of a comparison, by the names of their files."""
    return {"compare": lambda: comparison_figure(found)}


def comparison_figure(found: Comparison) -> Any:
    """|S| of each rig's worst loop; phase of each part at its crossover; tracking error over some beats."""
    figure = new_figure(11.0, 8.4 + 0.8 * max(0, len(found.checks) - 2))
    grid = figure.add_gridspec(2, 2, height_ratios=[1.5, 1.0], width_ratios=[1.15, 1.0])
    sensitivity, budget = figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[0, 1])
    error = figure.add_subplot(grid[1, :])
    looks = [(COLOURS[i % len(COLOURS)], LINES[i % len(LINES)]) for i in range(len(found.checks))]
    for name, check, (colour, line) in zip(found.names, found.checks, looks, strict=True):
        _draw_sensitivity(sensitivity, name, check, colour, line)
        _draw_error(error, name, check, colour, line)
    sensitivity.axhline(1.0, color=GREY, linewidth=0.8)
    sensitivity.xaxis.set_major_formatter("{x:g}")
    sensitivity.set_ylim(bottom=0.0)
    tidy(sensitivity, "frequency (Hz)", "|S| of the worst loop (1)")
    sensitivity.legend(frameon=False, fontsize=8, loc="lower right")
    _draw_budget(budget, found, [colour for colour, _ in looks])
    error.axhline(0.0, color=GREY, linewidth=0.8)
    tidy(error, "time (s)", "tracking error (mmHg)")
    error.legend(frameon=False, fontsize=8, ncols=2, loc="lower right", bbox_to_anchor=(1.0, 0.98))
    verdicts = "; ".join(f"{name} {'passes' if check.passed else 'FAILS'}"
                         for name, check in zip(found.names, found.checks, strict=True))
    figure.suptitle(f"{len(found.checks)} rigs on {found.checks[0].run.trace.name}: {verdicts}", fontsize=11)
    stamp(figure)
    return figure


def _draw_sensitivity(axes: Any, name: str, check: Check, colour: str, line: str) -> None:
    loop, found = check.worst.loop, check.worst.margins
    if not found.stable:
        axes.plot([], [], line, color=colour, label=f"{name}: unstable")
        return
    frequency = np.geomspace(LOWEST_Hz, 0.9999 * 0.5 / loop.timing.period_s, POINTS)
    size = 1.0 / np.abs(1.0 + loop_response(loop, frequency))
    axes.semilogx(frequency, size, line, color=colour, linewidth=1.6,
                  label=f"{name}: Ms {found.sensitivity_peak:.2f} at {found.modulus_margin_Hz:.3g} Hz")
    axes.plot(found.modulus_margin_Hz, found.sensitivity_peak, "o", color=colour, markersize=5)


def _draw_budget(axes: Any, found: Comparison, colours: list[str]) -> None:
    costs = [{row.part: row.phase_deg for row in check.budget} for check in found.checks]
    parts = sorted({part for some in costs for part, degrees in some.items() if abs(degrees) > LEAST_deg},
                   key=lambda part: -min(some.get(part, 0.0) for some in costs))
    high = 0.8 / max(len(costs), 1)
    for i, (name, some) in enumerate(zip(found.names, costs, strict=True)):
        places = np.arange(len(parts)) - 0.4 + high * (len(costs) - i - 0.5)
        axes.barh(places, [some.get(part, 0.0) for part in parts], high, color=colours[i],
                  hatch=HATCHES[i % len(HATCHES)], edgecolor="white", linewidth=0.4, label=name)
    axes.set_yticks(range(len(parts)), parts, fontsize=8)
    axes.axvline(0.0, color=GREY, linewidth=0.8)
    tidy(axes, "phase at the crossover of the worst loop (°)", "")
    axes.legend(frameon=False, fontsize=8, loc="lower left")


def _draw_error(axes: Any, name: str, check: Check, colour: str, line: str) -> None:
    run = check.run
    cuff = run.channels["cuff_mmHg"]
    window = shown_window(run)
    time = np.arange(len(cuff)) * run.period_s
    error = np.where(run.counted, cuff - run.ideal_mmHg, np.nan)
    rms = f"{check.tracking.ideal.rms_mmHg:.2f} mmHg rms" if check.tracking is not None else "too short to judge"
    axes.plot(time[window], error[window], line, color=colour, linewidth=1.1, label=f"{name}: {rms}")
