"""The loop of a rig as the page shows it: margins in a row each, its response, the phase budget."""
from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.margins.budget import phase_budget
from controller.margins.loop import Loop, sampled
from controller.response import sweep
from experiments.check.judged import Judged, judge_loops, margin_figures, worst_of
from experiments.check.pictures_loop import phase_deg, side_name
from experiments.rigs.rig import Rig
from experiments.work.progress import tell

LOWEST_Hz = 0.3  # of the curves
FEW, MANY = 160, 360  # points of a curve while a knob moves, and once it rests
Curves = dict[str, NDArray[Any]]


def loop_answer(
    rig: Rig, pressures_mmHg: dict[str, float], offset_mmHg: float = 0.0, quick: bool = False
) -> tuple[dict[str, Any], Curves]:
    """Margins at each pressure on each side, figures of the worst, and curves of its operating point.

    Quick: at the first pressure only, without a budget. Raises InputError for a rig that cannot clamp there.
    """
    asked = dict(list(pressures_mmHg.items())[:1]) if quick else pressures_mmHg
    loops = judge_loops(rig, asked, offset_mmHg)
    tell(0.2)
    worst = worst_of(loops)
    head: dict[str, Any] = {
        "margins": [margin_row(judged) for judged in loops],
        "worst": worst.name,
        "figures": margin_figures(loops),
        "stable": all(judged.margins.stable for judged in loops),
        "light_slope_per_mmHg": loops[0].loop.light_slope,
        "resting_on_dead_band": not worst.loop.point.smooth,
    }
    if not quick and math.isfinite(worst.margins.crossover_Hz):
        rows = phase_budget(worst.loop, worst.margins.crossover_Hz)
        tell(0.4)
        head["budget"] = {"at_Hz": worst.margins.crossover_Hz, "degrees": {row.part: row.phase_deg for row in rows}}
    pair = [judged for judged in loops if judged.loop.point is worst.loop.point]
    return head | {"sides": [side_name(judged.loop) for judged in pair]}, loop_curves(pair, FEW if quick else MANY)


def margin_row(judged: Judged) -> dict[str, Any]:
    """One loop's margins as numbers."""
    m = judged.margins
    return {
        "name": judged.name, "arterial_mmHg": judged.loop.point.around.arterial_mmHg, "stable": m.stable,
        "resolved": m.resolved,
        "gain_margin_dB": 20.0 * math.log10(m.gain_margin) if m.gain_margin > 0.0 else -math.inf,
        "phase_margin_deg": m.phase_margin_deg, "delay_margin_ticks": m.delay_margin_ticks,
        "modulus_margin": m.modulus_margin, "crossover_Hz": m.crossover_Hz, "bandwidth_Hz": m.bandwidth_Hz,
        "gain_margin_Hz": m.gain_margin_Hz, "modulus_margin_Hz": m.modulus_margin_Hz,
    }


def loop_curves(pair: list[Judged], points: int) -> Curves:
    """Frequency, and gain [dB] and phase [°] of each side; the plane of Nyquist follows from them."""
    top_Hz = 0.5 / pair[0].loop.timing.period_s
    frequency = np.geomspace(LOWEST_Hz, 0.9999 * top_Hz, points)
    curves: Curves = {"frequency_Hz": frequency}
    for number, judged in enumerate(pair):
        gain = response_of(judged.loop, frequency)
        curves[f"gain_dB_{number}"] = 20.0 * np.log10(np.maximum(np.abs(gain), 1e-15))
        curves[f"phase_deg_{number}"] = phase_deg(gain, frequency, judged.margins)
    return curves


def response_of(loop: Loop, frequency_Hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex gain of the loop cut open, shape (n,)."""
    omega = 2.0 * np.pi * frequency_Hz
    return np.asarray(sweep(sampled(loop), omega) * sweep(loop.coefficients, omega))
