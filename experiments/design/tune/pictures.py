"""Figures of a tuning: the trade-off between tracking and robustness, sensitivities, and every finger."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from controller.tick.law import design
from experiments.design.tune.bound import tuned_sensitivity
from experiments.design.tune.limits import largest_peak
from experiments.design.tune.study import Row, Tuning
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

MARKERS = ("s", "D", "^", "v", "P", "X")
RULE_COLOURS = (VIOLET, AMBER, SKY, GREEN, ORANGE, GREY)
CLEAREST = 1e-3  # of a sensitivity drawn


def trade_off_figure(tuning: Tuning) -> Any:
    """Error of the worst finger against the bound on the sensitivity peak: tuned, limit, and each rule."""
    figure = new_figure(10.0, 6.2)
    axes = figure.subplots()
    peaks = np.array([p.largest_peak for p in tuning.trade_off])
    tuned, limit, delay_bound = (np.array([getattr(p, name) for p in tuning.trade_off])
                             for name in ("tuned_mmHg", "limit_mmHg", "delay_bound_mmHg"))
    bound = largest_peak(tuning.limits)
    left, right = 1.15, float(peaks[-1]) + 0.1
    axes.axvspan(bound, right, color="0.93", linewidth=0, zorder=0)
    axes.plot(peaks, tuned, "-o", color=BLUE, linewidth=2.0, markersize=4, label="tuned, every limit kept")
    axes.plot(peaks, limit, "-", color="black", linewidth=1.4, label="limit of any linear controller")
    if np.nanmax(np.abs(delay_bound / limit - 1.0)) > 0.02:
        axes.plot(peaks, delay_bound, ":", color="black", linewidth=1.4, label="the same, sure of the delay margin")
    axes.fill_between(peaks, 0.0, limit, color="0.8", linewidth=0, zorder=0)
    beyond = []
    for k, row in enumerate(tuning.published):
        colour, marker = RULE_COLOURS[k % 6], MARKERS[k % 6]
        inside = _draw_rule(axes, row, colour, marker, right, hollow=True)
        scaled = next((s for s in tuning.scaled if s.name == row.name), None)
        if scaled is not None:
            inside = _draw_rule(axes, scaled, colour, marker, right, hollow=False) or inside
            axes.plot([], [], marker, color=colour, label=f"{row.name} × {scaled.factor:.2f}")
        elif inside:
            axes.plot([], [], marker, color=colour, markerfacecolor="none", label=f"{row.name}: never within")
        if not inside:
            beyond.append(row.name)
    if tuning.shipped.kept or _peak(tuning.shipped) < right:
        axes.plot(_peak(tuning.shipped), tuning.shipped.rms_mmHg, "*", color=GREY, markersize=13, label="as shipped")
    axes.plot(_peak(tuning.tuned), tuning.tuned.rms_mmHg, "o", color=BLUE, markersize=11)
    shown = [r.rms_mmHg for r in (*tuning.scaled, tuning.tuned)] + list(tuned[np.isfinite(tuned)])
    axes.set_xlim(left, right)
    axes.set_ylim(0.0, 1.15 * max(shown, default=1.0))
    axes.annotate(f"Ms ≤ {bound:g} asked for", (bound, 0.985), xycoords=("data", "axes fraction"), ha="right", va="top",
                  xytext=(-5, 0), textcoords="offset points", fontsize=9, color=GREY)
    tidy(axes, "largest sensitivity peak Ms of all fingers", "tracking error of the worst finger (mmHg rms)")
    axes.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9,
                title="hollow: as published\nfilled: gain scaled to the limits", title_fontsize=9, alignment="left")
    figure.suptitle(f"{tuning.rig.name}, {len(tuning.people.cases)} fingers: tracking against robustness")
    left_off = f"outside: {', '.join(beyond)}" if beyond else ""
    stamp(figure, left_off)
    return figure


def _draw_rule(axes: Any, row: Row, colour: str, marker: str, right: float, hollow: bool) -> bool:
    """A rule's point, if it lies within the picture."""
    peak = _peak(row)
    if not peak <= right or not math.isfinite(row.rms_mmHg):
        return False
    axes.plot(peak, row.rms_mmHg, marker, color=colour, markersize=8, markerfacecolor="none" if hollow else colour)
    return True


def _peak(row: Row) -> float:
    """Largest Ms over all fingers; infinite where one is unstable."""
    peaks = row.found.margins["sensitivity_peak"]
    return math.inf if np.any(np.isnan(peaks)) else float(np.max(peaks))


def sensitivity_figure(tuning: Tuning) -> Any:
    """|S| of the worst finger under the tuned setting, the best rule and its limit, over its pressure's spectrum."""
    bound = tuning.bounds[0]
    case = next(c for c in tuning.people.cases if c.finger.name == bound.finger)
    figure = new_figure(10.0, 6.2)
    above, below = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [2.4, 1.0]})
    top_Hz = 0.5 / tuning.rig.timing.period_s
    frequency = np.geomspace(0.3, 0.999 * top_Hz, 600)
    best = tuning.best_rule
    for row, colour, line in ((tuning.tuned, BLUE, "-"), (tuning.shipped, GREY, "-."), (best, ORANGE, "--")):
        if row is not None:
            coefficients = design(row.found.controller, tuning.rig.timing.period_s)
            size = np.abs(tuned_sensitivity(case.loops[0], coefficients, 2.0 * np.pi * frequency))
            name = row.name if row is not best else f"{row.name} × {row.factor:.2f}, the best rule"
            above.loglog(frequency, size, line, color=colour, linewidth=1.8, label=name)
    if math.isfinite(bound.rms_mmHg):
        shown = bound.omega_rad_s > 2.0 * np.pi * 0.3
        above.loglog(bound.omega_rad_s[shown] / (2 * np.pi), np.abs(bound.sensitivity)[shown], color="black",
                     linewidth=1.2, label="the best of all linear controllers on this finger")
    above.axhline(largest_peak(tuning.limits), color=GREY, linewidth=0.8, linestyle=":")
    above.axhline(1.0, color=GREY, linewidth=0.6)
    above.set_ylim(CLEAREST, 4.0)
    above.annotate(f"Ms = {largest_peak(tuning.limits):g}", (0.31, largest_peak(tuning.limits)), fontsize=8, color=GREY,
                   va="bottom")
    tidy(above, "", "|S|, share of the pulse that is left as error")
    above.legend(frameon=False, loc="lower right")
    disturbance = case.disturbances[0]
    held = disturbance.pressure_mmHg2 > 0.0
    below.loglog(disturbance.omega_rad_s[held] / (2 * np.pi), np.sqrt(disturbance.pressure_mmHg2[held]), color=GREEN,
                 label="arterial pressure in each band")
    below.set_ylim(1e-3, 50.0)
    below.set_xlim(0.3, top_Hz)
    below.xaxis.set_major_formatter("{x:g}")
    tidy(below, "frequency (Hz)", "pressure (mmHg rms)")
    below.legend(frameon=False, loc="upper right")
    figure.suptitle(f"{tuning.rig.name} on {case.finger.name}: where the error comes from")
    stamp(figure)
    return figure


def fingers_figure(tuning: Tuning) -> Any:
    """Every finger's sensitivity peak and error under the tuned setting and the best rule."""
    figure = new_figure(9.0, 5.8)
    axes = figure.subplots()
    best = tuning.best_rule
    for row, colour, marker in ((best, ORANGE, "s"), (tuning.tuned, BLUE, "o")):
        if row is None:
            continue
        name = row.name if row is not best else f"{row.name} × {row.factor:.2f}, the best rule"
        axes.plot(row.found.margins["sensitivity_peak"], row.found.rms_mmHg, marker, color=colour, markersize=3.5,
                  alpha=0.6, linestyle="none", label=name)
        i = int(np.argmax(row.found.rms_mmHg))
        axes.annotate(tuning.people.cases[i].finger.name, (row.found.margins["sensitivity_peak"][i],
                      row.found.rms_mmHg[i]), textcoords="offset points", xytext=(-6, 5), fontsize=8, ha="right",
                      color=colour, bbox={"facecolor": "white", "alpha": 0.85, "linewidth": 0, "pad": 1})
    bound = largest_peak(tuning.limits)
    axes.axvline(bound, color=GREY, linewidth=1.0, linestyle=":")
    axes.annotate(f"Ms ≤ {bound:g}", (bound, 0.98), xycoords=("data", "axes fraction"), ha="right", va="top",
                  xytext=(-4, 0), textcoords="offset points", fontsize=9, color=GREY)
    axes.set_ylim(bottom=0.0)
    tidy(axes, "sensitivity peak Ms of the finger's worst loop", "tracking error (mmHg rms)")
    axes.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2)
    figure.suptitle(f"{tuning.rig.name}: each of {len(tuning.people.cases)} fingers")
    stamp(figure)
    return figure
