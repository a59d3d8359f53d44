"""A picture of a rig on many fingers: how each limited figure is spread over them, and where its limit is."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.design.population.study import Judged, Reals, column
from experiments.work.style import BLUE, GREY, ORANGE, new_figure, stamp, tidy

ACROSS = 3  # panels in a row


def population_figure(found: Judged) -> Any:
    """A panel a limit: share of the fingers below a value; drawn rigs, the rig as it is, and the limit."""
    shown = [limit for limit in found.limits if np.any(np.isfinite(column(found, found.judged, limit.name)))]
    down = max(math.ceil(len(shown) / ACROSS), 1)
    figure = new_figure(11.0, 0.6 + 2.4 * down)
    axes = figure.subplots(down, ACROSS, squeeze=False)
    for k, place in enumerate(axes.flat):
        if k >= len(shown):
            place.set_axis_off()
            continue
        limit = shown[k]
        _curve(place, column(found, found.as_found, limit.name), ORANGE, "--", "rig as it is")
        if found.drawn is not None:
            _curve(place, column(found, found.drawn, limit.name), BLUE, "-", "rigs drawn within [spread]")
        edge = limit.low if math.isfinite(limit.low) else limit.high
        place.axvline(edge, color=GREY, linestyle=":", linewidth=1.4, label="limit")
        unit = found.figures[limit.name].unit
        tidy(place, f"{limit.short} [{unit}]", "share of fingers below [1]" if k % ACROSS == 0 else "")
    if shown:
        figure.legend(*axes[0, 0].get_legend_handles_labels(), loc="outside lower left", ncols=3, frameon=False)
    name = found.plan.source.tables.get("name", "")
    figure.suptitle(f"{name} on {len(found.plan.fingers)} fingers")
    stamp(figure, "virtual fingers: invented people")
    return figure


def _curve(place: Any, values: Reals, colour: str, line: str, label: str) -> None:
    sure = np.sort(values[np.isfinite(values)])
    if len(sure):
        place.step(sure, np.arange(1, len(sure) + 1) / len(values), where="post", color=colour, linestyle=line,
                   linewidth=1.5, label=label)
