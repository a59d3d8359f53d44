"""Picture of one search: what it did, how far from the unloaded artery it was, what it saw, and what is true."""
from __future__ import annotations

import math
import textwrap
from typing import Any

import numpy as np

from calibrate.protocol import Failed, Found
from calibrate.search.staircase import NO_PULSE_SNR
from experiments.calibration.search.staircase import StepRow, coarse_law, phases, step_rows
from experiments.calibration.search.trial import Trial, Truth, truth_of
from experiments.simulation.session import COLUMN, Samples
from experiments.work.style import BLUE, GREEN, GREY, ORANGE, VIOLET, new_figure, stamp, tidy
from plant.finger.artery import static_area, unloaded_pressure

NEAR_mmHg = 25.0  # from the unloaded state, over time
LEAST_mmHg, MOST_mmHg = 12.0, 60.0  # from it, in the picture of the compliance
CROWDED_mmHg = 8.0  # between two steps whose numbers would overlap
BRIEF_s = 0.7  # a step shorter than this gets no number
PLAIN_BEAT_s = 1.0  # where there are no beats
LINES = 6000  # points of a curve
WORDS = {
    "clamp": "at the\nset point", "judged": "at the\nset point", "look": "looks with a\nprobing tone",
    "recording": "records the\nwaveform", "confirmation": "confirmation",
}


def search_figure(trial: Trial) -> Any:
    """Pressures and distance from the unloaded artery over time; pulsation and compliance below."""
    figure = new_figure(11.0, 9.6)
    grid = figure.add_gridspec(3, 2, height_ratios=[1.35, 0.75, 1.15])
    pressures, distance = figure.add_subplot(grid[0, :]), figure.add_subplot(grid[1, :])
    seen, true = figure.add_subplot(grid[2, 0]), figure.add_subplot(grid[2, 1])
    steps, truth = step_rows(trial), truth_of(trial)
    beat_s = truth.beat_s if math.isfinite(truth.beat_s) else PLAIN_BEAT_s
    _draw_pressures(pressures, trial, steps, beat_s)
    _draw_distance(distance, trial, beat_s)
    distance.set_xlim(pressures.get_xlim())
    _draw_pulsation(seen, trial, steps, truth)
    _draw_compliance(true, trial, truth)
    figure.align_ylabels([pressures, distance, seen])
    outcome = trial.calibration.outcome
    if isinstance(outcome, Failed):
        told = f"no set point, {outcome.reason}"
    else:
        told = (f"off by {signed(trial.calibration.error_mmHg)} mmHg, said to be within "
                f"± {outcome.interval_mmHg:.1f} mmHg (90 %)")
    figure.suptitle(f"Search '{trial.strategy.name}' on {trial.name}: {told}")
    stamp(figure, f"rig {trial.rig.name}; {textwrap.shorten(trial.about, 70, placeholder='…')}")
    return figure


def signed(value: float) -> str:
    """A number with its sign, a true minus among them."""
    return f"{value:+.2f}".replace("-", "−")


def moving_mean(values: Samples, ticks: int) -> Samples:
    """Centred mean over a window of so many ticks, twice; the ends are means of what there is. Shape of `values`."""
    for _ in range(2):
        half = max(ticks // 2, 1)
        sums = np.concatenate([[0.0], np.cumsum(values)])
        at = np.arange(len(values))
        first, end = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
        values = np.asarray((sums[end] - sums[first]) / (end - first))
    return values


def _draw_pressures(axes: Any, trial: Trial, steps: list[StepRow], beat_s: float) -> None:
    rows = trial.session.rows
    time = np.arange(len(rows)) * trial.period_s
    thin = slice(None, None, max(1, len(rows) // LINES))
    arterial, cuff = rows[:, COLUMN["arterial_mmHg"]], rows[:, COLUMN["cuff_mmHg"]]
    axes.plot(time[thin], arterial[thin], color=GREY, linewidth=0.7, alpha=0.75, label="arterial pressure (true)")
    unloading = _unloading(trial, beat_s)
    axes.plot(time[thin], unloading[thin], color=GREEN, linewidth=1.6, linestyle="--",
              label="mean cuff pressure that unloads the artery (true)")
    axes.plot(time[thin], cuff[thin], color=BLUE, linewidth=1.2, label="cuff pressure")
    tidy(axes, "", "pressure (mmHg)")
    top = 1.32 * float(max(np.max(cuff), np.max(arterial), np.max(unloading), 50.0))
    axes.set_xlim(0.0, len(rows) * trial.period_s)
    axes.set_ylim(0.0, top)
    for step in steps:
        if step.seconds > BRIEF_s:
            axes.annotate(
                str(step.number), (step.start_s + 0.5 * step.seconds, step.cuff_mmHg), textcoords="offset points",
                xytext=(0, 10), ha="center", va="center", fontsize=8, color=BLUE, weight="bold",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8})
    for first, last, words in _stretches(trial):
        if words:
            axes.axvspan(first, last, color="0.93", linewidth=0)
        axes.text(0.5 * (first + last), 0.98 * top, words or "staircase: hold,\nwatch the pulsation", ha="center",
                  va="top", fontsize=8, color=GREY)
    axes.legend(frameon=False, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 0.99), fontsize=9)
    axes.set_title("What the search did", loc="left", fontsize=10)


def _unloading(trial: Trial, beat_s: float) -> Samples:
    """Cuff pressure at which the artery is unloaded at the mean pressure of a beat, tick by tick."""
    ticks, inputs = trial.session.state.tick, trial.session.inputs
    beat = round(beat_s / trial.period_s)
    tone: Any = inputs.tone[:ticks]
    arterial = moving_mean(inputs.arterial_mmHg[: ticks + 2 * beat], beat)[:ticks]
    unloaded = unloaded_pressure(trial.rig.plant.artery, tone)
    return np.asarray((arterial - unloaded) / trial.rig.plant.tissue.transmission)


def _stretches(trial: Trial) -> list[tuple[float, float, str]]:
    """Stretches of time and the words above them; no words for the staircase."""
    found: list[tuple[float, float, str]] = []
    for phase in phases(trial):
        words = WORDS.get(phase.purpose, phase.purpose or "clamp") if phase.kind == "clamp" else ""
        words = WORDS["look"] if phase.purpose == "entering" else words
        if found and found[-1][2] == words:
            found[-1] = (found[-1][0], phase.end_s, words)
        else:
            found.append((phase.start_s, phase.end_s, words))
    later_hold = [i for i, stretch in enumerate(found) if i > 0 and not stretch[2]]
    return [stretch for i, stretch in enumerate(found) if i not in later_hold]


def _draw_distance(axes: Any, trial: Trial, beat_s: float) -> None:
    rows = trial.session.rows
    time = np.arange(len(rows)) * trial.period_s
    tone: Any = trial.session.inputs.tone[: len(rows)]
    transmural = rows[:, COLUMN["arterial_mmHg"]] - rows[:, COLUMN["external_mmHg"]]
    off = moving_mean(np.asarray(transmural - unloaded_pressure(trial.rig.plant.artery, tone)),
                      round(beat_s / trial.period_s))
    thin = slice(None, None, max(1, len(rows) // LINES))
    axes.axhline(0.0, color=GREEN, linewidth=1.6, linestyle="--")
    axes.plot(time[thin], off[thin], color=VIOLET, linewidth=1.5)
    # the last stretch matters where a set point was found; without one, all of it
    reach = NEAR_mmHg if trial.calibration.found else max(NEAR_mmHg, 1.1 * float(np.max(np.abs(off))))
    axes.set_ylim(-reach, reach)
    for first, last, words in _stretches(trial):
        if words:
            axes.axvspan(first, last, color="0.93", linewidth=0)
    for height, side, words in ((0.94, "top", "artery too full"), (0.05, "bottom", "artery pressed too flat")):
        axes.text(0.994, height, words, transform=axes.transAxes, fontsize=8, color=GREY, ha="right", va=side,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8})
    tidy(axes, "time from the empty cuff (s)", "off the unloaded\nstate (mmHg)")
    axes.set_title("Mean transmural pressure less that of the unloaded artery (true)", loc="left", fontsize=10)


def _draw_pulsation(axes: Any, trial: Trial, steps: list[StepRow], truth: Truth) -> None:
    shown = [s for s in steps if math.isfinite(s.pulsation)]
    highest = max(100.0, 1.2 * max((s.cuff_mmHg for s in shown), default=0.0), 1.1 * truth.cuff_mmHg)
    law = coarse_law(trial)
    if law is not None:
        cuff = np.linspace(0.0, highest, 300)
        swing = law.depth * (np.asarray(law.share(law.systolic_mmHg - cuff)) - law.share(law.diastolic_mmHg - cuff))
        axes.plot(cuff, 100 * swing, color=BLUE, linewidth=1.0, alpha=0.7, label="law fitted to the staircase")
    placed: dict[bool, list[float]] = {True: [], False: []}
    for step in shown:
        used = step.note.lower().startswith("used")
        axes.plot(step.cuff_mmHg, 100 * step.pulsation, "o", color=BLUE, markersize=7,
                  markerfacecolor=BLUE if used else "white", clip_on=False, zorder=3)
        right = step.cuff_mmHg > truth.cuff_mmHg
        crowded = any(abs(step.cuff_mmHg - other) < CROWDED_mmHg for other in placed[right])
        right = right is not crowded
        placed[right].append(step.cuff_mmHg)
        axes.annotate(str(step.number), (step.cuff_mmHg, 100 * step.pulsation), textcoords="offset points",
                      xytext=(8 if right else -8, 3), ha="left" if right else "right", fontsize=8, color=BLUE,
                      weight="bold")
    outcome = trial.calibration.outcome
    if isinstance(outcome, Found) and math.isfinite(truth.held_cuff_mmHg):
        half = outcome.interval_mmHg / trial.rig.plant.tissue.transmission
        axes.axvspan(truth.held_cuff_mmHg - half, truth.held_cuff_mmHg + half, color=ORANGE, alpha=0.18, linewidth=0)
        axes.axvline(truth.held_cuff_mmHg, color=ORANGE, linewidth=1.6, label="found, ± 90 %")
    if math.isfinite(truth.systolic_mmHg):
        axes.axvline(truth.cuff_mmHg, color=GREEN, linewidth=1.6, linestyle="--", label="true")
        largest_mmHg = largest_pulsation_mmHg(trial, truth, highest)
        axes.axvline(largest_mmHg, ymax=0.14, color=GREY, linewidth=2.4)
        words = why_not_the_largest(truth, largest_mmHg, trial.rig.plant.tissue.transmission)
        axes.text(0.0, -0.27, words, transform=axes.transAxes, fontsize=7.5, color=GREY, va="top")
    largest = max((s.pulsation for s in shown), default=0.0)
    noise = max((s.noise for s in shown), default=0.0)
    top = max(largest, 2 * NO_PULSE_SNR * noise, 1e-4)
    if NO_PULSE_SNR * noise > 0.05 * top:
        axes.axhline(100 * NO_PULSE_SNR * noise, color=GREY, linewidth=1.0, linestyle=":", label="less is no pulse")
    for step in shown:
        if step.note.startswith("not used: the "):
            axes.annotate(step.note, (step.cuff_mmHg, 100 * step.pulsation), textcoords="offset points",
                          xytext=(10, 14), fontsize=8, color=ORANGE)
    axes.set_ylim(0.0, 115 * top)
    axes.set_xlim(0.0, highest)
    tidy(axes, "cuff pressure (mmHg)", "pulsation of the\nlight (%)")
    _title(axes, "What the instrument sees (filled: used)")


def largest_pulsation_mmHg(trial: Trial, truth: Truth, highest_mmHg: float) -> float:
    """Cuff pressure of the largest pulsation by the artery's static law (true), for this pulse [mmHg]."""
    judged = trial.session.inputs.tone[trial.judged]
    plant, tone = trial.rig.plant, float(np.mean(judged)) if len(judged) else trial.rig.tone.level
    cuff = np.linspace(0.0, highest_mmHg, 601)
    pressed = plant.tissue.transmission * cuff
    high, low = (np.array([static_area(plant.artery, pressure - external, tone) for external in pressed])
                 for pressure in (truth.systolic_mmHg, truth.diastolic_mmHg))
    return float(cuff[np.argmax(high - low)])


def why_not_the_largest(truth: Truth, largest_mmHg: float, transmission: float) -> str:
    """Why the largest pulsation (short grey line) is not at the pressure that is looked for, in words."""
    mean = truth.cuff_mmHg * transmission + truth.unloaded_mmHg
    middle = (0.5 * (truth.systolic_mmHg + truth.diastolic_mmHg) - mean) / transmission
    whole = largest_mmHg - truth.cuff_mmHg
    p0 = f"{truth.unloaded_mmHg:.1f}".replace("-", "−")
    return (f"short grey line, {signed(whole)} mmHg from the true one: the largest pulsation.\n"
            f"{signed(middle)}: the middle, not the mean, of a finite pulse is at p0 = {p0} mmHg;\n"
            f"{signed(whole - middle)}: compliance is not the same on both sides of p0")


def _draw_compliance(axes: Any, trial: Trial, truth: Truth) -> None:
    outcome, width = trial.calibration.outcome, truth.half_width_mmHg
    off = truth.transmural_mmHg - truth.unloaded_mmHg
    reach = 2.0 * width
    if isinstance(outcome, Found) and math.isfinite(off):
        reach = min(max(1.3 * (abs(off) + outcome.interval_mmHg), LEAST_mmHg), MOST_mmHg)
    transmural = np.linspace(-reach, reach, 400)
    axes.plot(transmural, 100.0 / (1.0 + (transmural / width) ** 2), color=GREY, linewidth=1.6,
              label="compliance of the artery")
    axes.axvline(0.0, color=GREEN, linewidth=1.6, linestyle="--", label="its peak: unloaded")
    if isinstance(outcome, Found) and math.isfinite(off):
        height = 100.0 / (1.0 + (off / width) ** 2)
        axes.errorbar(off, height, xerr=outcome.interval_mmHg, color=ORANGE, fmt="D", markersize=7, capsize=5,
                      linewidth=1.8, label="held, ± 90 %")
        inside = "inside" if abs(off) <= outcome.interval_mmHg else "outside"
        axes.text(0.52, 0.05, f"off by {signed(off)} mmHg:\n{inside} its own interval", transform=axes.transAxes,
                  fontsize=9, color=ORANGE)
    elif isinstance(outcome, Failed):
        message = textwrap.fill(outcome.message, 46, break_on_hyphens=False)
        axes.text(0.5, 0.05, message, transform=axes.transAxes, ha="center", fontsize=9, color=ORANGE,
                  bbox={"facecolor": "white", "edgecolor": ORANGE, "boxstyle": "round,pad=0.5"})
    axes.set_ylim(0.0, 112.0)
    axes.set_xlim(-reach, reach)
    unloaded = f"{truth.unloaded_mmHg:.1f}".replace("-", "−")
    tidy(axes, f"transmural pressure − p0 (mmHg); p0 = {unloaded} mmHg", "compliance\n(% of its peak)")
    _title(axes, "What only the simulation knows")


def _title(axes: Any, text: str) -> None:
    """A title with the legend between it and the axes."""
    axes.set_title(text, loc="left", fontsize=10, pad=20)
    if axes.get_legend_handles_labels()[1]:
        axes.legend(frameon=False, ncols=3, loc="lower left", bbox_to_anchor=(-0.02, 0.98), fontsize=8,
                    columnspacing=1.2, handlelength=1.8)
