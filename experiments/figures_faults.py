"""The picture of a study: failures down, protection across, the outcome as colour and as a mark."""
from __future__ import annotations

from typing import Any

from experiments.fault_case import PHYSIOLOGY
from experiments.fault_limits import PRESSURE, TIME, VENT, WRONG
from experiments.fault_study import Study
from experiments.fault_tables import Summary, Table
from experiments.figure_style import AMBER, GREY, ORANGE, SKY, VIOLET, new_figure, stamp

OUTCOMES: tuple[tuple[str, str, str], ...] = (  # word, colour, mark, from best to worst
    ("kept, detected", "#E4EEF5", ""), ("kept, unnoticed by some", SKY, "u"), ("wrong reading unnoticed", VIOLET, "W"),
    ("does not empty in time", AMBER, "V"), ("pressure above a limit", ORANGE, "P"),
)


def outcome_of(summary: Summary) -> int:
    """Index in OUTCOMES of a summary: its worst."""
    if PRESSURE in summary.breaks or TIME in summary.breaks:
        return 4
    if VENT in summary.breaks:
        return 3
    if WRONG in summary.breaks:
        return 2
    return 1 if summary.undetected else 0


def fault_matrix(study: Study, table: Table) -> Any:
    """Matrix failure × protection taken away. Where that changes nothing a cell is pale and has no mark."""
    from matplotlib.patches import Patch, Rectangle

    rows = [i for i, fault in enumerate(study.faults) if fault.kind != PHYSIOLOGY]
    columns = ("", *study.setting.protections)
    figure = new_figure(5.2 + 0.47 * len(columns), 2.6 + 0.215 * len(rows))
    axes = figure.subplots()
    for y, fault in enumerate(rows):
        for x, lost in enumerate(columns):
            if (fault, lost) not in table:
                continue
            outcome = outcome_of(table[fault, lost])
            _, colour, mark = OUTCOMES[outcome]
            same = bool(lost) and outcome == outcome_of(table[fault, ""])
            left = x if x == 0 else x + 0.4  # a gap beside the column with everything in place
            axes.add_patch(Rectangle((left, y), 1, 1, facecolor=colour, edgecolor="white", linewidth=1.2,
                                     alpha=0.25 if same else 1.0))
            if mark and not same:
                axes.text(left + 0.5, y + 0.54, mark, ha="center", va="center", fontsize=7.5, weight="bold",
                          color="black")
    axes.set_xlim(0, len(columns) + 0.4)
    axes.set_ylim(len(rows), 0)
    axes.set_yticks([y + 0.5 for y in range(len(rows))])
    axes.set_yticklabels([f"{study.faults[i].name.replace('_', ' ')}" for i in rows], fontsize=8)
    axes.set_xticks([0.5 if x == 0 else x + 0.9 for x in range(len(columns))])
    axes.set_xticklabels(["all in place", *(name.replace("_", " ") for name in columns[1:])], fontsize=8, rotation=55,
                         ha="left", rotation_mode="anchor")
    axes.xaxis.tick_top()
    axes.xaxis.set_label_position("top")
    axes.set_xlabel("protection taken away", loc="right")
    axes.set_ylabel("failure")
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)
    handles = [Patch(facecolor=colour, edgecolor=GREY, linewidth=0.5, label=f"{mark}  {word}".strip())
               for word, colour, mark in OUTCOMES]
    handles.append(Patch(facecolor=GREY, alpha=0.2, label="pale: as with all in place"))
    figure.legend(handles=handles, loc="outside lower left", ncols=3, frameon=False, fontsize=8)
    figure.suptitle(f"{study.setting.rig}: worst outcome of each failure over {len(study.names)} fingers", fontsize=11)
    stamp(figure)
    return figure
