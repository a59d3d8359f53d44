"""Figures of the linear loop: Bode, Nyquist with the modulus circle, step, and the phase budget."""
from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.margins.budget import BudgetRow
from controller.margins.loop import Loop, sampled, sides
from controller.margins.margins import Margins
from controller.margins.step import tracking_step
from controller.response import response
from experiments.work.style import BLUE, GREEN, GREY, ORANGE, SIDE_COLOURS, SIDE_LINES, new_figure, stamp, tidy
from plant.parts import valve_nature

Judged = list[tuple[Loop, Margins]]
LOWEST_Hz = 1.0
STEP_s = 0.12  # of the step drawn


def loop_response(loop: Loop, frequency_Hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex open-loop gain at each frequency, shape (n,)."""
    plant = sampled(loop)
    omega = 2.0 * np.pi * frequency_Hz
    return np.array([response(plant, w) * response(loop.coefficients, w) for w in omega])


def margins_figure(judged: Judged, title: str) -> Any:
    """Bode, Nyquist and step of each side with its margins drawn."""
    figure = new_figure(11.0, 7.0)
    (top, right), (bottom, lower) = figure.subplots(2, 2, gridspec_kw={"width_ratios": [1.35, 1.0]})
    nyquist_Hz = 0.5 / judged[0][0].timing.period_s
    frequency = np.geomspace(LOWEST_Hz, 0.9999 * nyquist_Hz, 700)
    for loop, found in judged:
        colour, line = SIDE_COLOURS[loop.side], SIDE_LINES[loop.side]
        gain = loop_response(loop, frequency)
        phase = phase_deg(gain, frequency, found)
        decibel = 20 * np.log10(np.maximum(np.abs(gain), 1e-15))  # a loop without gain is far below the picture
        top.semilogx(frequency, decibel, line, color=colour, label=side_name(loop))
        bottom.semilogx(frequency, phase, line, color=colour)
        right.plot(gain.real, gain.imag, line, color=colour)
        _draw_margins(top, bottom, found, colour)
        if found.stable:
            steps = round(STEP_s / loop.timing.period_s)
            lower.plot(1e3 * loop.timing.period_s * np.arange(steps), tracking_step(loop, steps), line, color=colour)
    top.axhline(0.0, color=GREY, linewidth=0.8)
    bottom.axhline(-180.0, color=GREY, linewidth=0.8)
    tidy(top, "", "open-loop gain (dB)")
    tidy(bottom, "frequency (Hz)", "open-loop phase (°)")
    top.set_ylim(-40, 50)
    bottom.set_ylim(-400, -60)
    for axes in (top, bottom):
        axes.set_xlim(LOWEST_Hz, nyquist_Hz)
        axes.xaxis.set_major_formatter("{x:g}")
    top.set_title('thick bars: gain and phase margins', fontsize=8, color=GREY, loc='left')
    top.legend(frameon=False, loc="upper right")
    _draw_plane(right, judged)
    tidy(lower, "time after a step of 1 mmHg (ms)", "cuff answer (mmHg)")
    lower.set_xlim(0.0, 1e3 * STEP_s)
    unstable = [loop.side for loop, found in judged if not found.stable]
    if len(unstable) == len(judged):
        title += ": unstable"
        lower.set_yticks([])
        lower.annotate("unstable: no answer to draw", (0.5, 0.5), xycoords="axes fraction", ha="center", color=GREY)
    else:
        title += f": unstable on the {unstable[0]} side" if unstable else ""
        lower.axhline(1.0, color=GREY, linewidth=0.8)
    figure.suptitle(title)
    stamp(figure)
    return figure


def phase_deg(gain: NDArray[np.complex128], frequency_Hz: NDArray[np.float64], found: Margins) -> NDArray[np.float64]:
    """Unwrapped phase on the sheet where the governing crossover reads its phase margin above -180°.

    An unstable loop has no crossover that governs: its phase begins between -360° and 0°.
    """
    phase = np.degrees(np.unwrap(np.angle(gain)))
    if found.stable and np.isfinite(found.crossover_Hz):
        at = float(np.interp(found.crossover_Hz, frequency_Hz, phase))
        return np.asarray(phase - 360.0 * round((at - (found.phase_margin_deg - 180.0)) / 360.0))
    return np.asarray(phase - 360.0 * math.ceil(phase[0] / 360.0))


def side_name(loop: Loop) -> str:
    """How a loop's side is called in legends."""
    if len(sides(loop.plant)) > 1:
        return f"valve, {loop.side} side"
    return valve_nature(loop.plant.valve).name


def _draw_margins(top: Any, bottom: Any, found: Margins, colour: str) -> None:
    for gain_crossing in found.gain_crossovers:
        at = [gain_crossing.frequency_Hz] * 2
        bottom.plot(at, [-180.0, -180.0 + gain_crossing.phase_margin_deg], color=colour, linewidth=3.0, alpha=0.45)
    for phase_crossing in found.phase_crossovers:
        if LOWEST_Hz < phase_crossing.frequency_Hz < math.inf and phase_crossing.gain_margin > 0.0:
            at = [phase_crossing.frequency_Hz] * 2
            top.plot(at, [-20 * np.log10(phase_crossing.gain_margin), 0.0], color=colour, linewidth=3.0, alpha=0.45)


def _draw_plane(axes: Any, judged: Judged) -> None:
    angle = np.linspace(0, 2 * np.pi, 200)
    axes.plot(np.cos(angle), np.sin(angle), color="0.8", linewidth=0.8)
    if all(found.stable for _, found in judged):
        worst = min(found.modulus_margin for _, found in judged)
        axes.fill(-1 + worst * np.cos(angle), worst * np.sin(angle), color=GREEN, alpha=0.18, linewidth=0)
        said = f"modulus margin {worst:.2f} (disc)"
    else:
        said = "unstable: no modulus margin"
    axes.plot([-1.0], [0.0], "+", color="black", markersize=9)
    axes.set_title(said, fontsize=8, color=GREY, loc="left")
    axes.set_xlim(-2.6, 1.1)
    axes.set_ylim(-2.0, 1.2)
    axes.set_aspect("equal", adjustable="box")
    tidy(axes, "real part of the loop gain", "imaginary part")


def budget_figure(rows: list[BudgetRow], crossover_Hz: float, title: str) -> Any:
    """Degrees at crossover, part by part."""
    figure = new_figure(7.5, 0.6 + 0.34 * len(rows))
    axes = figure.subplots()
    ordered = sorted(rows, key=lambda r: -r.phase_deg)
    names, degrees = [r.part for r in ordered], [r.phase_deg for r in ordered]
    colours = [ORANGE if d < 0 else BLUE for d in degrees]
    axes.barh(range(len(ordered)), degrees, color=colours)
    axes.set_yticks(range(len(ordered)), names)
    axes.axvline(0.0, color=GREY, linewidth=0.8)
    for i, d in enumerate(degrees):
        axes.annotate(_signed(d), (d, i), textcoords="offset points", xytext=(-4 if d < 0 else 4, 0), va="center",
                      ha="right" if d < 0 else "left", fontsize=8)
    low, high = min(degrees), max(0.0, *degrees)
    axes.set_xlim(low - 0.14 * (high - low), high + 0.12 * (high - low))
    tidy(axes, f"phase at crossover, {crossover_Hz:.3g} Hz (°);  sum {_signed(sum(degrees))}°", "")
    figure.suptitle(title, fontsize=11)
    stamp(figure)
    return figure


def _signed(degrees: float) -> str:
    """With a sign, and with the minus of the axes."""
    return "0.0" if abs(degrees) < 0.05 else f"{degrees:+.1f}".replace("-", "−")
