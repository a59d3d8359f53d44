"""The chain in one picture: finger, upper arm, stroke volume, output, with truth where it is known."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.readings.chain.chain import Readings
from experiments.readings.chain.truth import Truth
from experiments.work.style import BLUE, GREY, ORANGE, SKY, new_figure, stamp, tidy

SHOWN_s = 6.0  # of the waveforms


def chain_figure(found: Readings, truth: Truth | None, title: str) -> Any:
    """Three seconds on either side of the middle as waves, then all beats: pressures, stroke volume, output."""
    figure = new_figure(11.0, 8.6)
    waves, pressures, strokes, outputs = figure.subplots(4, 1, gridspec_kw={"height_ratios": [1.5, 1, 1, 1]})
    count = len(found.arm_wave_mmHg)
    time = np.arange(count) * found.period_s
    middle = float(np.median(found.beats.onset_s))
    shown = np.abs(time - middle) <= 0.5 * SHOWN_s
    waves.plot(time[shown], found.finger_wave_mmHg[shown], color=GREY, linewidth=1.1, label="finger, heart level")
    waves.plot(time[shown], found.arm_wave_mmHg[shown], color=BLUE, linewidth=1.4, label=_arm_label(found))
    if truth is not None:
        waves.plot(time[shown], truth.arm_mmHg[: count][shown], color=ORANGE, linewidth=1.2, linestyle="--",
                   label="upper arm, true")
    tidy(waves, "", "pressure (mmHg)")
    waves.legend(fontsize=8, frameon=False, loc="upper right", ncols=3)
    low, high = waves.get_ylim()
    waves.set_ylim(low, high + 0.15 * (high - low))
    counts = found.beats.counts
    at = found.beats.onset_s[counts]
    for k, (name, line) in enumerate((("systolic", "-"), ("mean", "--"), ("diastolic", ":"))):
        pressures.plot(at, found.arm_mmHg[counts, k], color=BLUE, linestyle=line, linewidth=1.3, label=name)
        one = found.summary[name]
        pressures.axhspan(one.low, one.high, color=SKY, alpha=0.12, linewidth=0)
    tidy(pressures, "", "upper arm (mmHg)")
    pressures.legend(fontsize=8, frameon=False, loc="upper right", ncols=3)
    low, high = pressures.get_ylim()
    pressures.set_ylim(low, high + 0.25 * (high - low))
    _flow(strokes, at, found.stroke_mL[counts], found.summary["stroke volume"], "stroke volume (mL)")
    _flow(outputs, at, found.output_L_min[counts], found.summary["output"], "output (L/min)")
    if truth is not None:
        true = truth.stroke_mL[counts]
        strokes.plot(at, true, color=ORANGE, linewidth=1.2, linestyle="--", label="true")
        outputs.plot(at, true * 60e-3 / found.beats.interval_s[counts], color=ORANGE, linewidth=1.2, linestyle="--",
                     label="true")
    outputs.axhline(found.null_output_L_min, color=GREY, linewidth=1.1, linestyle=":", label="null: a constant")
    for axes in (strokes, outputs):
        axes.legend(fontsize=8, frameon=False, loc="upper right", ncols=4)
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.2 * (high - low))
    outputs.set_xlabel("time (s)")
    figure.suptitle(title, fontsize=12)
    stamp(figure, "estimates from a model, no clinical use")
    return figure


def _arm_label(found: Readings) -> str:
    return "upper arm, by the tube" if found.known.arm == "tube" else "upper arm, filter and values of the law"


def _flow(axes: Any, at: Any, values: Any, one: Any, label: str) -> None:
    axes.plot(at, values, color=BLUE, linewidth=1.3, label="estimated")
    axes.axhspan(one.low, one.high, color=SKY, alpha=0.18, linewidth=0, label="90 % interval")
    tidy(axes, "", label)
