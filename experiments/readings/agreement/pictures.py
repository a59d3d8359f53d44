"""Pictures of agreement: differences against means, four quadrants, polar plot."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.readings.agreement.limits import Limits
from experiments.readings.agreement.study import USUAL_ZONE, Agreed
from experiments.readings.agreement.trending import angles_deg, outside, radii
from experiments.work.style import BLUE, GREY, ORANGE, SKY, new_figure, stamp, tidy

ROOM = 0.12  # beside the outermost point


def agreement_figure(found: Agreed) -> Any:
    """Differences over means with limits of agreement; the constant's own spread beside them."""
    unit = found.question.unit or "unit of the values"
    figure = new_figure(7.6, 5.0)
    axes = figure.subplots()
    middle = 0.5 * (found.pairs.tested + found.pairs.reference)
    axes.scatter(middle, found.pairs.difference, s=16, color=BLUE, alpha=0.65, linewidths=0, label="a pair")
    _limit_lines(axes, found.repeated)
    spread = found.percentage.null * found.percentage.mean_reference
    for sign in (-1.0, 1.0):
        axes.axhline(sign * spread, color=GREY, linewidth=1.0, linestyle=":",
                     label="null predictor: ± 1.96 SD of the references" if sign > 0 else None)
    tidy(axes, f"mean of both methods ({unit})", f"tested − reference ({unit})")
    axes.legend(fontsize=8, frameon=False, loc="upper left", ncols=2)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.18 * (high - low))
    axes.set_title(f"{found.repeated.pairs} pairs of {found.repeated.subjects} subjects, "
                   f"percentage error {100 * found.percentage.error:.1f} %", fontsize=11)
    stamp(figure)
    return figure


def _limit_lines(axes: Any, limits: Limits) -> None:
    axes.axhline(limits.bias, color=ORANGE, linewidth=1.6, label=f"bias {limits.bias:.3g}")
    for number, level in enumerate((limits.lower, limits.upper)):
        axes.axhline(level, color=ORANGE, linewidth=1.2, linestyle="--",
                     label=f"limits {limits.lower:.3g} … {limits.upper:.3g}" if not number else None)


def trending_figure(found: Agreed) -> Any:
    """Four quadrants on the left, polar plot on the right; changes within the zone are grey."""
    changes, zone = found.changes, found.question.zone
    relative = math.isnan(zone)
    size = USUAL_ZONE if relative else zone
    unit = found.question.unit or "unit of the values"
    figure = new_figure(11.0, 5.2)
    left = figure.add_subplot(1, 2, 1)
    kept = outside(changes, size, relative)
    left.scatter(changes.reference[~kept], changes.tested[~kept], s=12, color="0.75", linewidths=0, label="within zone")
    left.scatter(changes.reference[kept], changes.tested[kept], s=16, color=BLUE, alpha=0.7, linewidths=0,
                 label="outside")
    reach = (1 + ROOM) * float(max(np.max(np.abs(changes.reference)), np.max(np.abs(changes.tested)), 1e-9))
    left.plot([-reach, reach], [-reach, reach], color=GREY, linewidth=0.9, linestyle="--", label="identity")
    left.axhline(0.0, color=GREY, linewidth=0.8)
    left.axvline(0.0, color=GREY, linewidth=0.8)
    if not relative:
        left.axvspan(-size, size, color=SKY, alpha=0.15, linewidth=0)
    left.set(xlim=(-reach, reach), ylim=(-reach, reach))
    left.set_aspect("equal")
    tidy(left, f"change of the reference ({unit})", f"change of the tested method ({unit})")
    t = found.trending
    told = f": {100 * t.concordance:.1f} % concordant" if t.outside else ""
    left.set_title(f"four quadrants{told}", fontsize=11)
    left.legend(fontsize=8, frameon=False, loc="upper left")
    _polar(figure.add_subplot(1, 2, 2, projection="polar"), found, size * (changes.level if relative else 1.0), unit)
    stamp(figure)
    return figure


def _polar(axes: Any, found: Agreed, zone: Any, unit: str) -> None:
    """Angles off the line of identity: 0° at the right, ± 30° shaded."""
    radius, angle = radii(found.changes), np.radians(angles_deg(found.changes))
    far = radius >= zone - 1e-9
    axes.scatter(angle[~far], radius[~far], s=10, color="0.75", linewidths=0)
    axes.scatter(angle[far], radius[far], s=16, color=BLUE, alpha=0.7, linewidths=0)
    axes.set_thetamin(-90)
    axes.set_thetamax(90)
    top = float(np.max(radius, initial=1e-9)) * (1 + ROOM)
    axes.fill_between(np.radians(np.linspace(-30.0, 30.0, 61)), 0.0, top, color=SKY, alpha=0.15, linewidth=0)
    axes.set_ylim(0.0, top)
    axes.set_xlabel(f"mean size of the change ({unit})")
    t = found.trending
    if t.polar > 1:
        axes.set_title(f"polar: {t.angle_deg:+.1f}° ± {t.limits_deg:.1f}°", fontsize=11)


def agree_figures(found: Agreed) -> dict[str, Any]:
    """Functions that draw each figure, by the name of its file."""
    figures: dict[str, Any] = {"agreement": lambda: agreement_figure(found)}
    return figures | {"trending": lambda: trending_figure(found)} if found.trending.changes else figures
