"""Figures of a run: cuff against arterial pressure, the error, and beats."""
from __future__ import annotations

from typing import Any

import numpy as np

from controller.tick.firmware import VENT
from experiments.check.tracking import Tracking
from experiments.simulation.simulate import Run
from experiments.work.style import BLUE, GREY, ORANGE, VIOLET, new_figure, stamp, tidy


def _thinned(count: int, most: int = 4000) -> slice:
    return slice(None, None, max(1, count // most))


def tracking_figure(run: Run, tracking: Tracking | None, title: str) -> Any:
    """The whole run, four seconds of it enlarged, and the error of the settled clamp."""
    figure = new_figure(11.0, 7.2)
    whole, close, error_axes = figure.subplots(3, 1, gridspec_kw={"height_ratios": [1.0, 1.3, 0.9]})
    cuff, ideal, counted = run.channels["cuff_mmHg"], run.ideal_mmHg, run.counted
    time = np.arange(len(cuff)) * run.period_s
    thin = _thinned(len(cuff))
    whole.plot(time[thin], ideal[thin], color=GREY, linewidth=0.9, label="ideal: arterial pressure − p0")
    whole.plot(time[thin], cuff[thin], color=BLUE, linewidth=0.9, label="cuff pressure")
    end = float(time[-1]) + run.period_s
    _mark(whole, "fill", 0.0, min(run.plan.fill_s, end))
    if np.any(run.channels["mode"] == VENT):
        _mark(whole, "vent", end - run.plan.vent_s, end)
    tidy(whole, "", "pressure (mmHg)")
    _legend(whole, 2)
    whole.set_xlim(0, end)
    whole.set_title("" if run.status == "done" else run.status, fontsize=9, loc="left")

    window = shown_window(run)
    close.plot(time[window], run.channels["arterial_mmHg"][window], color=VIOLET, linewidth=1.0, linestyle=":",
               label="arterial pressure")
    close.plot(time[window], ideal[window], color=GREY, linewidth=2.6, alpha=0.6, label="ideal")
    close.plot(time[window], cuff[window], color=BLUE, linewidth=1.2, label="cuff pressure")
    tidy(close, "", "pressure (mmHg)")
    _legend(close, 3)

    error = np.where(counted, cuff - ideal, np.nan)
    error_axes.plot(time[window], error[window], color=ORANGE, linewidth=1.0)
    error_axes.axhline(0.0, color=GREY, linewidth=0.8)
    close.set_xlim(time[window.start], time[window.stop - 1] + run.period_s)
    error_axes.set_xlim(close.get_xlim())
    tidy(error_axes, "time (s)", "tracking error (mmHg)")
    if tracking is not None:
        error_axes.set_title(f"rms {tracking.ideal.rms_mmHg:.2f} mmHg over the settled clamp", fontsize=9, loc="left")
    figure.align_ylabels()
    figure.suptitle(title)
    stamp(figure)
    return figure


def shown_window(run: Run) -> slice:
    """Ticks of some four seconds of the settled clamp, to be drawn large."""
    counted = run.counted
    start = _window_start(counted, run.period_s)
    last = len(counted) - int(np.argmax(counted[::-1])) if np.any(counted) else len(counted)
    return slice(start, min(start + round(4.0 / run.period_s), last))


def _mark(axes: Any, word: str, first_s: float, last_s: float) -> None:
    """Shade the part of a run that is no clamp."""
    axes.axvspan(first_s, last_s, color="0.93", linewidth=0)
    axes.annotate(word, (0.5 * (first_s + last_s), 0.0), xycoords=("data", "axes fraction"), xytext=(0, 4),
                  textcoords="offset points", ha="center", fontsize=8, color=GREY)


def _legend(axes: Any, columns: int) -> None:
    """Above the axes, where no curve runs."""
    axes.legend(frameon=False, ncols=columns, loc="lower right", bbox_to_anchor=(1.0, 0.98), fontsize=9)


def _window_start(counted: Any, period_s: float) -> int:
    """Start of four unbroken seconds that count, nearest to the middle of what counts (or the first tick that does)."""
    need = round(4.0 / period_s)
    if len(counted) > need:
        sums = np.concatenate([[0], np.cumsum(counted)])
        whole = sums[need:] - sums[:-need] == need
        starts = np.flatnonzero(whole)
        if len(starts):
            middle = 0.5 * (starts[0] + starts[-1])
            return int(starts[np.argmin(np.abs(starts - middle))])
    return int(np.argmax(counted)) if np.any(counted) else 0
