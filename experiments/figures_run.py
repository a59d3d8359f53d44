"""Figures of a run: cuff against arterial pressure, the error, and beats."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.figure_style import BLUE, GREY, ORANGE, VIOLET, new_figure, stamp, tidy
from experiments.metrics import Tracking
from experiments.simulate import Run


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
    whole.axvspan(0.0, run.plan.fill_s, color="0.93", linewidth=0)
    whole.annotate("fill", (0.5 * run.plan.fill_s, 0.0), xycoords=("data", "axes fraction"), xytext=(0, 4),
                   textcoords="offset points", ha="center", fontsize=8, color=GREY)
    tidy(whole, "", "pressure (mmHg)")
    whole.legend(frameon=False, ncols=2, loc="lower right")
    whole.set_xlim(0, time[-1])

    start = _window_start(counted, run.period_s)
    window = slice(start, min(start + round(4.0 / run.period_s), len(cuff)))
    close.plot(time[window], run.channels["arterial_mmHg"][window], color=VIOLET, linewidth=1.0, linestyle=":",
               label="arterial pressure")
    close.plot(time[window], ideal[window], color=GREY, linewidth=2.6, alpha=0.6, label="ideal")
    close.plot(time[window], cuff[window], color=BLUE, linewidth=1.2, label="cuff pressure")
    tidy(close, "", "pressure (mmHg)")
    close.legend(frameon=False, ncols=3, loc="upper right")

    error = np.where(counted, cuff - ideal, np.nan)
    error_axes.plot(time[window], error[window], color=ORANGE, linewidth=1.0)
    error_axes.axhline(0.0, color=GREY, linewidth=0.8)
    close.set_xlim(time[window.start], time[window.stop - 1])
    error_axes.set_xlim(close.get_xlim())
    tidy(error_axes, "time (s)", "cuff − ideal (mmHg)")
    if tracking is not None:
        error_axes.set_title(f"rms {tracking.ideal.rms_mmHg:.2f} mmHg over the settled clamp", fontsize=9, loc="left")
    figure.suptitle(title)
    stamp(figure)
    return figure


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
