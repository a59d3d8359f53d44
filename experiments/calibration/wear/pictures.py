"""Figure of a wear plan: which finger is under pressure when, and how much pressure each has borne."""
from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.wear import (
    USUAL_LIMITS,
    Refusal,
    Turn,
    WearLimits,
    WearPlan,
    check_plan,
    load_until,
    timeline,
    wear_account,
)
from experiments.work.style import BLUE, GREY, ORANGE, new_figure, stamp, tidy

COLOURS, LINES, HATCHES = (BLUE, ORANGE), ("-", "--"), ("", "////")
POINTS = 800  # of a curve
BAR = 0.62


def wear_figure(
    plan: WearPlan, mean_cuff_mmHg: float | NDArray[np.float64], limits: WearLimits = USUAL_LIMITS, title: str = "",
) -> Any:
    """Turns of each finger above, their pressure–time integrals below, the verdict and its reasons on top."""
    verdict = check_plan(plan, limits, mean_cuff_mmHg)
    accounts, turns = wear_account(plan, mean_cuff_mmHg), timeline(plan)
    fingers = len(accounts)
    figure = new_figure(11.0, 6.8)
    rows, load = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [0.5 + 0.4 * fingers, 2.0]})
    for account in accounts:
        bars = [(t.start_h, t.end_h - t.start_h) for t in turns if t.finger == account.finger]
        rows.broken_barh(bars, (account.finger - 0.5 * BAR, BAR), facecolor=COLOURS[account.finger], alpha=0.85,
                         edgecolor="white", linewidth=0.5, hatch=HATCHES[account.finger])
    rows.set_yticks(range(fingers), [f"finger {a.finger + 1}" for a in accounts])
    rows.set_ylim(fingers - 0.4, -0.6)
    tidy(rows, "", "")
    rows.grid(False)
    rows.set_title("coloured: under pressure; white: at rest", fontsize=9, loc="left", color=GREY)

    time = np.linspace(0.0, plan.duration_h, POINTS)
    for account in accounts:
        borne = load_until(turns, account.finger, mean_cuff_mmHg, plan.duration_h, time)
        rest = f", rests {60.0 * account.shortest_rest_h:.0f} min or more" if account.turns > 1 else ", never rests"
        load.plot(time, borne, color=COLOURS[account.finger], linestyle=LINES[account.finger], linewidth=1.8,
                  label=f"finger {account.finger + 1}: {account.pressed_h:.4g} h under pressure{rest}; "
                        f"{account.load_mmHg_h:.0f} mmHg·h")
    if fingers == 2:
        alone = load_until([Turn(0, 0.0, plan.duration_h)], 0, mean_cuff_mmHg, plan.duration_h, time)
        load.plot(time, alone, color=GREY, linestyle="-.", linewidth=1.0, label="for comparison: one finger throughout")
    longest = limits.one_finger_h if plan.fingers == 1 else limits.two_fingers_h
    if plan.duration_h > longest:
        for axes in (rows, load):
            axes.axvspan(longest, plan.duration_h, color="0.85", linewidth=0, zorder=0)
        load.annotate(f"beyond {longest:g} h", (0.5 * (longest + plan.duration_h), 0.03), ha="center", fontsize=8,
                      xycoords=("data", "axes fraction"), color="0.2")
    load.set_xlim(0.0, plan.duration_h)
    top = max(float(np.max(line.get_ydata())) for line in load.get_lines())
    if limits.load_mmHg_h < 2.0 * top:  # farther off, it would only flatten the curves
        load.axhline(limits.load_mmHg_h, color="0.2", linewidth=1.0, linestyle=":")
        load.annotate("limit", (0.0, limits.load_mmHg_h), xytext=(4, 3), textcoords="offset points",
                      fontsize=8, color="0.2")
        top = max(top, limits.load_mmHg_h)
    load.set_ylim(0.0, 1.1 * top)
    tidy(load, "time (h)", "pressure–time integral (mmHg·h)")
    load.legend(frameon=False, loc="lower left", bbox_to_anchor=(-0.01, 1.0), fontsize=9)
    refused = isinstance(verdict, Refusal)
    reasons = verdict.reasons if isinstance(verdict, Refusal) else ()
    head = title or f"{plan.duration_h:g} h on {'one finger' if fingers == 1 else 'two fingers in turns'}"
    figure.suptitle("\n".join([f"{head}: {'refused' if refused else 'accepted'}", *(f"· {r}" for r in reasons)]),
                    fontsize=11, x=0.02, ha="left")
    stamp(figure, "limits are invented unless given")
    return figure
