"""The room to each limit along a number of the rig, and where either way ends."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.design.until.study import STABILITY, Until, limit_words
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = (BLUE, ORANGE, GREEN, VIOLET, SKY, AMBER, GREY)
STYLES = ("-", "--", "-.", ":")
SHOWN = 1.5  # of the room, beyond which a limit is far


def until_figure(found: Until, rig: str) -> Any:
    """Room to every limit, as a share of it, over the values that were tried."""
    figure = new_figure(10.0, 5.8)
    axes = figure.subplots()
    had = [room for room in found.tried if not room.reason]
    values = np.array([room.value for room in had])
    order = sorted({name for room in had for name in room.rooms},
                   key=lambda name: min(room.rooms[name] for room in had))
    for k, name in enumerate(order):
        rooms = np.clip([room.rooms[name] for room in had], -1.0, SHOWN)
        if np.min(rooms) >= SHOWN:
            continue
        label = "stability (modulus margin)" if name == STABILITY else limit_words(name, found.limits)
        axes.plot(values, rooms, STYLES[(k // len(COLOURS)) % 4], marker=".", color=COLOURS[k % len(COLOURS)],
                  label=label)
    axes.axhspan(-1.0, 0.0, color="0.93", zorder=0)
    axes.axhline(0.0, color="black", linewidth=1.0)
    axes.axvline(found.number.present, color=GREY, linewidth=1.0)
    axes.annotate("as it is", (found.number.present, 1.0), xycoords=("data", "axes fraction"), fontsize=8, color=GREY,
                  va="top", xytext=(3, -3), textcoords="offset points")
    for edge in (found.below, found.above):
        if edge is not None and edge.breaks:
            axes.plot(edge.value, 0.0, "o", color="black", markersize=8, zorder=5)
    edges = [e.value for e in (found.below, found.above) if e is not None] + [found.number.present]
    width = max(max(edges) - min(edges), 1e-9)
    axes.set_xlim(max(min(values), min(edges) - 0.25 * width), min(max(values), max(edges) + 0.25 * width))
    axes.set_ylim(-1.0, SHOWN)
    unit = f" ({found.number.unit})" if found.number.unit not in ("", "1") else ""
    tidy(axes, f"{found.number.name}{unit}", "room to the limit, as a share of it")
    axes.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9)
    figure.suptitle(f"{rig}: how far {found.number.name} can go (dots: where a limit breaks)")
    stamp(figure)
    return figure
