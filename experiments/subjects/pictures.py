"""Picture of virtual fingers: how their parameters lie about the middle one."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.subjects.finger import Finger
from experiments.subjects.table import finger_row, headings
from experiments.work.style import BLUE, GREY, new_figure, stamp, tidy

SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)


def spread_figure(group: str, people: list[Finger]) -> Any:
    """Each positive parameter that differs, over its median: 5 … 95 % of the fingers, and the middle half."""
    rows = [finger_row(finger) for finger in people]
    found: dict[str, Any] = {}
    for key, heading in headings().items():
        values = [row[key] for row in rows]
        if key not in ("name", "group", "seed", "defect") and min(values) > 0.0 and len(set(values)) > 1:
            found[heading] = np.quantile(np.array(values, float), SHARES)
    figure = new_figure(9.0, 1.6 + 0.28 * max(len(found), 1))
    axes = figure.subplots()
    for place, quantiles in enumerate(found.values()):
        low, lower, middle, upper, high = quantiles / quantiles[2]
        label = {} if place else {"label": "5 … 95 % of the fingers"}
        axes.plot([low, high], [place, place], color=GREY, linewidth=1.2, **label)
        label = {} if place else {"label": "middle half"}
        axes.plot([lower, upper], [place, place], color=BLUE, linewidth=4.0, solid_capstyle="butt", **label)
        axes.plot(middle, place, "o", color="white", markeredgecolor=BLUE, markersize=4)
    axes.set_yticks(range(len(found)), list(found), fontsize=8)
    axes.invert_yaxis()
    tidy(axes, "over the median of the group (1)", "")
    if found:
        axes.legend(loc="lower right", fontsize=8)
    axes.set_title(f"{len(people)} virtual fingers of {group} (invented people)", loc="left")
    stamp(figure)
    return figure
