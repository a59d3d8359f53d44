"""Figure of a hand that goes up: what the cuff reads, and what is left once the height is taken into account."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.calibration.height.study import HeightStudy
from experiments.work.style import BLUE, GREY, ORANGE, new_figure, stamp, tidy
from plant.units import hydrostatic_mmHg

POINTS = 4000  # that a curve is thinned to


def height_figure(study: HeightStudy, title: str) -> Any:
    """Height of the hand, mean pressure of each beat, and its error without and with correction."""
    figure = new_figure(11.0, 7.6)
    height, pressure, error = figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": [0.8, 1.2, 1.2]})
    time = np.arange(len(study.height_m)) * study.period_s
    thin = slice(None, None, max(1, len(time) // POINTS))
    height.plot(time[thin], 100.0 * study.sensed_m[thin], color=ORANGE, linewidth=0.7, label="sensed, after zeroing")
    height.plot(time[thin], 100.0 * study.height_m[thin], color=GREY, linewidth=1.6, linestyle="--", label="true")
    tidy(height, "", "cuff above heart (cm)")
    _legend(height, 2)

    pressure.plot(study.beat_s, study.heart_mmHg, color=GREY, linewidth=3.0, alpha=0.6, label="at the heart")
    pressure.plot(study.beat_s, study.reading_mmHg, color=ORANGE, linewidth=1.2, linestyle="--", marker=".",
                  markersize=3, label="cuff, as read")
    pressure.plot(study.beat_s, study.corrected_mmHg, color=BLUE, linewidth=1.2, marker=".", markersize=3,
                  label="cuff, corrected for height")
    tidy(pressure, "", "mean of each beat (mmHg)")
    _legend(pressure, 3)

    raw, left = study.reading_mmHg - study.heart_mmHg, study.corrected_mmHg - study.heart_mmHg
    error.axhline(0.0, color=GREY, linewidth=0.8)
    error.plot(study.beat_s, raw, color=ORANGE, linewidth=1.2, linestyle="--", marker=".", markersize=3)
    error.plot(study.beat_s, left, color=BLUE, linewidth=1.2, marker=".", markersize=3)
    for start_s, end_s, height_m in _plateaus(study):
        expected = -hydrostatic_mmHg(height_m)
        held = (study.beat_s > start_s + 1.0) & (study.beat_s < end_s - 1.0)  # as in the printed table
        read, corrected = float(np.mean(raw[held])), float(np.mean(left[held]))
        small = abs(expected) < 0.4 * float(np.max(np.abs(raw)))
        error.annotate(
            f"{100.0 * height_m:.0f} cm up: −ρgh = {expected:.2f} mmHg\nas read {read:+.2f}, corrected "
            f"{corrected:+.2f}".replace("-", "−"), (0.5 * (start_s + end_s), read), textcoords="offset points",
            xytext=(0, -10 if small else 12), ha="center", va="top" if small else "bottom", fontsize=8, color="0.2",
        )
    tidy(error, "time (s)", "reading − heart (mmHg)")
    error.set_ylim(min(float(np.min(raw)) * 1.1, -1.0), max(3.0, 1.3 * float(np.max(left))))
    error.set_xlim(0.0, float(time[-1]))
    figure.align_ylabels()
    figure.suptitle(title)
    stamp(figure, f"zeroed at heart level to {100.0 * study.zero.height_m:+.1f} cm")
    return figure


def _plateaus(study: HeightStudy) -> list[tuple[float, float, float]]:
    """Start and end [s] and height [m] of each stretch in which the hand is held away from the heart."""
    held = (np.abs(study.height_m) > 1e-6) & (np.abs(np.gradient(study.height_m)) < 1e-9)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], held.astype(int), [0]])))
    spans = zip(edges[::2], edges[1::2], strict=True)
    return [(a * study.period_s, b * study.period_s, float(study.height_m[(a + b) // 2])) for a, b in spans]


def _legend(axes: Any, columns: int) -> None:
    axes.legend(frameon=False, ncols=columns, loc="lower right", bbox_to_anchor=(1.0, 0.98), fontsize=9)
