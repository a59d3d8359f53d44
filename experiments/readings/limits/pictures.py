"""One picture of both ways: error of each reading over bandwidth, limits, and where the rig lies."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.readings.limits.propagate import changes, first_order, worst
from experiments.readings.limits.study import Required
from experiments.readings.limits.waves import shipped_waves
from experiments.work.style import BLUE, GREEN, GREY, ORANGE, VIOLET, new_figure, stamp, tidy

COLOURS = {"systolic": BLUE, "diastolic": GREEN, "output": ORANGE, "pulse": VIOLET}
BANDWIDTHS_Hz = np.geomspace(3.0, 60.0, 25)


def require_figure(found: Required) -> Any:
    """Pressures on the left, shares on the right; crosses are the rig itself."""
    figure = new_figure(11.0, 4.8)
    people = shipped_waves()
    plain = people.pressure_mmHg()
    curves = [worst(people, changes(people, first_order(float(f)), 0.0, plain)) for f in BANDWIDTHS_Hz]
    worth = {one.reading: one for one in found.worth}
    panels = zip(figure.subplots(1, 2), (("systolic", "diastolic"), ("output", "pulse")), ("mmHg", "%"), strict=True)
    for axes, names, unit in panels:
        for name in names:
            axes.loglog(BANDWIDTHS_Hz, [c[name] for c in curves], color=COLOURS[name],
                        label=f"{name}, first-order loop")
            at = found.loop.bandwidth_Hz
            if math.isfinite(at):
                axes.plot([at], [worth[name].by_loop], marker="X", markersize=9, color=COLOURS[name], linestyle="none",
                          label=f"{name}, {found.rig}")
            if math.isfinite(worth[name].limit):
                axes.axhline(worth[name].limit, color=COLOURS[name], linewidth=1.0, linestyle="--")
        for row in found.rows:
            if row.reading in names and math.isfinite(row.bandwidth_Hz):
                axes.axvline(row.bandwidth_Hz, color=GREY, linewidth=0.9, linestyle=":")
                axes.annotate(f"{row.bandwidth_Hz:.3g} Hz", (row.bandwidth_Hz, row.limit), xytext=(4, 4),
                              textcoords="offset points", fontsize=8, color=GREY)
        tidy(axes, "bandwidth (Hz)", f"error that 95 % of people keep ({unit})")
        axes.set_xticks([3, 5, 10, 20, 30, 60], ["3", "5", "10", "20", "30", "60"])
        axes.minorticks_off()
        axes.legend(fontsize=8, frameon=False, loc="lower left")
    figure.suptitle(f"limits on readings (dashed) and the bandwidth they ask for (dotted); crosses: {found.rig}",
                    fontsize=11)
    stamp(figure, "100 virtual people, each in nine states")
    return figure
