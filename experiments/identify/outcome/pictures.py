"""A picture of the fit: each recording with what the rig found gives, and what is left over in units of its noise."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.identify.fit.problem import held_out, predicted
from experiments.identify.outcome.account import Account
from experiments.work.style import AMBER, BLUE, GREY, ORANGE, new_figure, stamp, tidy

MOST_POINTS = 4000  # of a line: more are no pixels


def label_of(channel: str) -> str:
    """A channel with its unit, for an axis."""
    if channel == "flow_mL_s":
        return "flow [mL/s]"
    return f"{channel.removesuffix('_mmHg')} [{'mmHg' if channel.endswith('_mmHg') else '1'}]"


def fit_figure(account: Account) -> Any:
    """A row a recording: recorded and found on the left, residual over noise on the right."""
    found = account.found
    recordings = list(found.problem.recordings)
    courses = predicted(held_out(found.problem, recordings), found.solution.x)
    figure = new_figure(11.0, 1.4 + 1.6 * len(recordings))
    axes = figure.subplots(len(recordings), 2, squeeze=False)
    for row, recording, course in zip(axes, recordings, courses, strict=True):
        name = found.problem.channels(recording)[0]
        time_s = np.arange(len(recording.command)) * recording.period_s
        step = max(len(time_s) // MOST_POINTS, 1)
        row[0].plot(time_s[::step], recording.channels[name][::step], color=BLUE, linewidth=1.8, label="recorded")
        row[0].plot(time_s[::step], course[name][::step], color=ORANGE, linewidth=0.9, linestyle="--", label="found")
        left = (recording.channels[name] - course[name]) / recording.noise[name]
        row[1].plot(time_s[::step], left[::step], color=GREY, linewidth=0.5)
        for edge in (-1.96, 1.96):
            row[1].axhline(edge, color=AMBER, linewidth=0.9, linestyle=":")
        last = recording is recordings[-1]
        side = " (holdout)" if recording.holdout else ""
        tidy(row[0], "time [s]" if last else "", f"{recording.played}{side}\n{label_of(name)}")
        tidy(row[1], "time [s]" if last else "", "left over / noise [1]")
    axes[0, 0].legend(frameon=False, fontsize=8, loc="lower right")
    axes[0, 0].set_title("recorded, and the rig that was found")
    axes[0, 1].set_title("what is left over; dotted: where 95 % of noise lies")
    stamp(figure, account.name)
    return figure
