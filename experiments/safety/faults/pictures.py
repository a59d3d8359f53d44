"""Pictures of a study: failures down, protection across, the outcome as colour and mark; and the fallback states."""
from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller.protection.protection import FALLBACKS, HOLD, NORMAL, RECALIBRATE, TRANSITIONS, VENTED, WARNING
from experiments.safety.faults.fault import PHYSIOLOGY
from experiments.safety.faults.findings import HEAT, PRESSURE, TIME, VENT, WRONG
from experiments.safety.faults.study import Study
from experiments.safety.faults.summary import Summary, Table
from experiments.work.style import AMBER, GREY, ORANGE, SKY, VIOLET, YELLOW, new_figure, stamp

OUTCOMES: tuple[tuple[str, str, str], ...] = (  # word, colour, mark, from best to worst
    ("kept, detected", "#E4EEF5", ""), ("kept, unnoticed by some", SKY, "u"), ("wrong reading unnoticed", VIOLET, "W"),
    ("does not empty in time", AMBER, "V"), ("skin too hot", YELLOW, "H"), ("pressure above a limit", ORANGE, "P"),
)

PALE = 0.25
WAYS_BACK: tuple[tuple[int, int, str], ...] = (  # by somebody's hand: no firmware goes them by itself
    (RECALIBRATE, NORMAL, "a new search ends"), (VENTED, NORMAL, "power is cycled"),
)


def study_figures(study: Study, table: Table) -> dict[str, Callable[[], Any]]:
    """The pictures of a study, by the names of their files."""
    return {"faults": lambda: fault_matrix(study, table), "fallback": fallback_figure}


def fallback_figure() -> Any:
    """The fallback states and every way from one to another, from the firmware's own declaration; dashed, by hand."""
    from matplotlib.patches import FancyBboxPatch

    places = {NORMAL: (0.0, 0.0), WARNING: (0.0, 2.5), HOLD: (6.5, 2.0), RECALIBRATE: (6.5, -2.0), VENTED: (13.0, 0.0)}
    does = {NORMAL: "clamps, shows", WARNING: "clamps, shows, warns", HOLD: "keeps a moderate pressure",
            RECALIBRATE: "keeps a moderate pressure", VENTED: "empty, until power is cycled"}
    figure = new_figure(11.0, 5.2)
    axes = figure.subplots()
    ways = (*TRANSITIONS, *WAYS_BACK)
    back = {(a, b) for a, b, _ in ways if (b, a) in {(c, d) for c, d, _ in ways}}
    for start, end, word in ways:
        (x1, y1), (x2, y2) = places[start], places[end]
        length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
        aside = 0.22 if (start, end) in back else 0.0  # two ways between the same boxes lie side by side
        dx, dy = -aside * (y2 - y1) / length, aside * (x2 - x1) / length
        # from edge to edge of the boxes, with a little room
        inside = min(1.7 / max(abs(x2 - x1), 1e-9), 0.52 / max(abs(y2 - y1), 1e-9))
        tail = (x1 + dx + inside * (x2 - x1), y1 + dy + inside * (y2 - y1))
        head = (x2 + dx - inside * (x2 - x1), y2 + dy - inside * (y2 - y1))
        dashes = "--" if (start, end, word) in WAYS_BACK else "-"
        axes.annotate("", head, tail, arrowprops={"arrowstyle": "-|>", "color": GREY, "lw": 1.4, "ls": dashes,
                                                  "mutation_scale": 14})
        # the word stands to the left of the way, as one walks it, and grows away from it
        left, up = -(y2 - y1) / length, (x2 - x1) / length
        x, y = (0.42 * a + 0.58 * b for a, b in zip(tail, head, strict=True))
        axes.text(x + 0.12 * left, y + 0.1 * up, word, fontsize=9, zorder=3,
                  ha="center" if abs(left) < 0.1 else "left" if left > 0.0 else "right",
                  va="center" if abs(up) < 0.1 else "bottom" if up > 0.0 else "top")
    for state, (x, y) in places.items():
        axes.add_patch(FancyBboxPatch((x - 1.5, y - 0.38), 3.0, 0.76, boxstyle="round,pad=0.06", zorder=2,
                                      facecolor="#E4EEF5" if state != VENTED else AMBER, edgecolor="black"))
        axes.text(x, y + 0.12, FALLBACKS[state].upper(), ha="center", va="center", weight="bold", fontsize=10, zorder=4)
        axes.text(x, y - 0.2, does[state], ha="center", va="center", fontsize=8, zorder=4)
    axes.set_xlim(-4.2, 14.7)
    axes.set_ylim(-2.6, 3.1)
    axes.axis("off")
    figure.suptitle("fallback states of the firmware, and the ways between them (dashed: by somebody's hand)",
                    fontsize=11)
    stamp(figure)
    return figure


def outcome_of(summary: Summary) -> int:
    """Index in OUTCOMES of a summary: its worst."""
    if PRESSURE in summary.breaks or TIME in summary.breaks:
        return 5
    if HEAT in summary.breaks:
        return 4
    if VENT in summary.breaks:
        return 3
    if WRONG in summary.breaks:
        return 2
    return 1 if summary.undetected else 0


def fault_matrix(study: Study, table: Table) -> Any:
    """Matrix failure × protection taken away. Where that changes nothing a cell is pale and has no mark."""
    from matplotlib.legend_handler import HandlerTuple
    from matplotlib.patches import Patch, Rectangle

    rows = [i for i, fault in enumerate(study.faults) if fault.kind != PHYSIOLOGY]
    columns = ("", *study.plan.protections)
    figure = new_figure(max(2.4 + 0.36 * len(columns), 7.4), 2.3 + 0.178 * max(len(rows), 4))  # fits a page, upright
    axes = figure.subplots()
    if not rows:
        axes.axis("off")
        axes.text(0.5, 0.5, "no failures in this study: only physiology was run", ha="center", va="center")
        stamp(figure)
        return figure
    for y, fault in enumerate(rows):
        for x, lost in enumerate(columns):
            if (fault, lost) not in table:
                continue
            outcome = outcome_of(table[fault, lost])
            _, colour, mark = OUTCOMES[outcome]
            same = bool(lost) and outcome == outcome_of(table[fault, ""])
            left = x if x == 0 else x + 0.4  # a gap beside the column with everything in place
            axes.add_patch(Rectangle((left, y), 1, 1, facecolor=colour, edgecolor="white", linewidth=1.2,
                                     alpha=PALE if same else 1.0))
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
    if len(columns) > 1:
        axes.set_xlabel("protection taken away", loc="right")
    axes.set_ylabel("failure")
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)
    handles = [Patch(facecolor=colour, edgecolor=GREY, linewidth=0.5, label=f"{mark}  {word}".strip())
               for word, colour, mark in OUTCOMES]
    pale = tuple(Patch(facecolor=colour, alpha=PALE) for _, colour, _ in OUTCOMES[1:])
    labels = [handle.get_label() for handle in handles] + ["pale, of any colour: as with all in place"]
    figure.legend([*handles, pale], labels, loc="outside lower left", ncols=2, frameon=False, fontsize=8,
                  handler_map={tuple: HandlerTuple(ndivide=None, pad=0.0)})
    over = "one finger" if len(study.names) == 1 else f"{len(study.names)} fingers"
    onsets = "" if study.plan.phases == 1 else f", {study.plan.phases} onsets each"
    figure.suptitle(f"{study.plan.rig}: worst outcome of each failure, with all protection and without each "
                    f"({over}{onsets})", fontsize=11)
    stamp(figure)
    return figure
