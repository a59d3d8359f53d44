"""A picture of what is to be played, and what pressure is expected."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.identify.excite.files import has_command_file
from experiments.identify.excite.plan import Plan, play_all
from experiments.work.style import BLUE, GREY, ORANGE, new_figure, stamp, tidy


def plan_figure(plan: Plan) -> Any:
    """Each piece in a row: command on the left, pressure as predicted for the rig as believed on the right."""
    count = len(plan.pieces)
    figure = new_figure(10.0, 1.2 + 1.35 * count)
    axes = figure.subplots(count, 2, squeeze=False)
    for row, piece in zip(axes, plan.pieces, strict=True):
        time_s = np.arange(len(piece.command)) * piece.period_s
        row[0].step(time_s, piece.command, where="post", color=BLUE, linewidth=0.9)
        light = plan.parts == ("light",)
        found = play_all(plan.rig, [piece], 1)[0]["light" if light else "reading_mmHg"]
        row[1].plot(time_s, found, color=ORANGE, linewidth=0.9)
        if not light:
            row[1].axhline(plan.ceiling_mmHg, color=GREY, linestyle=":", linewidth=1.0)
            row[1].set_ylim(-10.0, 1.08 * plan.ceiling_mmHg)
        last = piece is plan.pieces[-1]
        what = "cuff, share of 400 mmHg [1]" if light and not has_command_file(piece) else "command [1]"
        tidy(row[0], "time [s]" if last else "", f"{piece.played}\n{what}")
        tidy(row[1], "time [s]" if last else "", "light [1]" if light else "reading [mmHg]")
    axes[0, 0].set_title("to be played")
    axes[0, 1].set_title(f"expected of {plan.rig.name}{'' if light else '; dotted: the ceiling'}")
    stamp(figure, "invented rig" if not plan.rig.given else "")
    return figure
