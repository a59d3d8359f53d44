"""Shared looks of all figures: a colour-blind-safe palette without any meaning borrowed from instruments."""
from __future__ import annotations

from pathlib import Path
from typing import Any

# eight hues that stay apart for the common colour-vision deficiencies (Okabe & Ito 2008)
BLUE, ORANGE, GREEN, VIOLET, SKY, AMBER, YELLOW, GREY = (
    "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#F0E442", "#5B5B5B",
)
SIDE_COLOURS = {"fill": BLUE, "vent": ORANGE}
SIDE_LINES = {"fill": "-", "vent": "--"}
CAUTION = "cuffloop: a design and teaching tool, not a medical device"


def new_figure(width: float, height: float) -> Any:
    """A Matplotlib figure (inches) that needs no screen."""
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    return Figure(figsize=(width, height), layout=ConstrainedLayoutEngine(w_pad=0.08, h_pad=0.08))


def tidy(axes: Any, x_label: str, y_label: str) -> None:
    """Labels and a light grid."""
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    axes.grid(True, color="0.88", linewidth=0.7)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def stamp(figure: Any, text: str = "") -> None:
    """The caution, and where the figure comes from, in its lower margin."""
    figure.supxlabel(f"{text + '  ·  ' if text else ''}{CAUTION}", fontsize=7, color=GREY, x=0.99, ha="right")


def save(figure: Any, path: Path) -> None:
    """Write a figure as a PNG, whatever the name ends in."""
    figure.savefig(path, format="png", dpi=110)
