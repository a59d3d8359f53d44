"""Loops of a rig judged: margins at each operating point and over the search's slope error, and the command."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from controller.margins.disturbed import EFFORTS, disturbed
from controller.margins.loop import Loop, build_loop, loop_margins, sides
from controller.margins.many_settings import rows_of
from controller.margins.margins import Margins
from controller.tick.law import design
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.simulate import mean_pressure
from experiments.subjects.curve import swinging_rms_mmHg
from experiments.subjects.disturbed import disturbances
from plant.pressure.record import PressureTrace

LOWEST_Hz = 0.4  # of the predicted error: below the slowest pulse, where the set point drifts


@dataclass(frozen=True)
class Judged:
    """One loop with its margins, and what it is called."""

    name: str
    loop: Loop
    margins: Margins
    spread: tuple[Margins, ...] = ()  # the same loop with the light slope as far off as a search may leave it
    slope_error: float = 0.0  # how far that is, as a share
    effort: dict[str, float] | None = None  # the command's activity on a pressure, as EFFORTS names it
    predicted_mmHg: float = math.nan  # servo's error on that pressure in the pulse's band, rms
    at_mean: bool = False  # whether the operating point is that of mean pressure


def judge_loops(
    rig: Rig, pressures_mmHg: dict[str, float], offset_mmHg: float = 0.0, light_slope: float | None = None
) -> list[Judged]:
    """Margins at each named arterial pressure, on each side of the valve.

    The error is normalised by `light_slope` [1/mmHg] or, without it, by the true one at the first pressure named: one
    calibration for all of them.
    """
    coefficients = design(rig.controller, rig.timing.period_s)
    found, slope = [], light_slope
    for name, pressure in pressures_mmHg.items():
        point = clamp(rig, pressure, rig.tone.level, offset_mmHg)
        slope = slope or clamp(rig, pressure, rig.tone.level).light_slope
        for side in sides(rig.plant):
            loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, coefficients, slope)
            label = f"{name}, {side}" if len(sides(rig.plant)) > 1 else name
            found.append(Judged(label, loop, loop_margins(loop), at_mean=name == next(iter(pressures_mmHg))))
    return found


def over_slope_error(loops: list[Judged], rig: Rig, mean_mmHg: float, slope_error: float) -> list[Judged]:
    """The same loops, each also with the light slope off the true one by a share either way, and right.

    The slope that one search has found is one draw of what it may find. The true slope is that at the mean pressure.
    """
    true = clamp(rig, mean_mmHg, rig.tone.level).light_slope
    gains = (1.0 - slope_error, 1.0, 1.0 + slope_error) if slope_error > 0.0 else (1.0,)
    return [
        replace(judged, slope_error=slope_error,
                spread=tuple(loop_margins(judged.loop._replace(light_slope=true / gain)) for gain in gains))
        for judged in loops
    ]


def with_effort(loops: list[Judged], rig: Rig, trace: PressureTrace) -> list[Judged]:
    """The same loops, each with what a pressure trace and the light's noise make of its command."""
    found = []
    for judged, disturbance in zip(loops, disturbances([j.loop for j in loops], rig, trace), strict=True):
        law = judged.loop.coefficients
        one = disturbed(law, rows_of([law], np.ones(1)), disturbance)
        stable = judged.margins.stable and judged.margins.resolved
        effort = {name: float(getattr(one, name)[0]) if stable else math.nan for name in EFFORTS}
        predicted = swinging_rms_mmHg(law, disturbance.above(LOWEST_Hz), rig.plant.artery, rig.tone.level)
        found.append(replace(judged, effort=effort, predicted_mmHg=predicted if stable else math.nan))
    return found


def worst_of(loops: list[Judged]) -> Judged:
    """The loop that decides: an unstable one first, then the smallest modulus margin."""
    return min(loops, key=lambda j: (j.margins.stable, j.margins.modulus_margin))


def operating_pressures(trace: PressureTrace) -> dict[str, float]:
    """The pressures at which margins are judged: mean, and the 5th and 95th percentile of the record [mmHg]."""
    values = trace.pressure_mmHg[trace.usable]
    low, high = np.percentile(values, [5.0, 95.0])
    return {"mean": mean_pressure(trace), "low": float(low), "high": float(high)}


def margin_figures(loops: list[Judged]) -> dict[str, float]:
    """The worst of each margin over all loops and, where it was asked for, over the slope error; and of the command's
    activity where a pressure is known. NaN when one of them is unstable or could not be followed."""
    figures = least_margins([m for j in loops for m in (j.margins, *j.spread)])
    if all(j.effort is not None for j in loops):
        figures |= {name: max(float((j.effort or {})[name]) for j in loops) for name in EFFORTS}
        if any(math.isnan((j.effort or {})[name]) for j in loops for name in EFFORTS):
            figures |= dict.fromkeys(EFFORTS, math.nan)
    return figures


def least_margins(found: list[Margins]) -> dict[str, float]:
    """The worst of each margin, under the names that requirements use; NaN when one loop is unstable."""
    sound = all(m.stable and m.resolved for m in found)

    def least(values: list[float]) -> float:
        return min(values) if sound else math.nan

    reductions = [-20 * math.log10(m.gain_reduction_margin) if m.gain_reduction_margin > 0 else math.inf for m in found]
    return {
        "gain_margin_dB": least([20 * math.log10(m.gain_margin) for m in found]),
        "gain_reduction_margin_dB": least(reductions),
        "phase_margin_deg": least([m.phase_margin_deg for m in found]),
        "delay_margin_s": least([m.delay_margin_s for m in found]),
        "delay_margin_ticks": least([m.delay_margin_ticks for m in found]),
        "modulus_margin": least([m.modulus_margin for m in found]),
        "sensitivity_peak": -least([-m.sensitivity_peak for m in found]),
        "crossover_Hz": least([m.crossover_Hz for m in found]),
        "bandwidth_Hz": least([m.bandwidth_Hz for m in found]),
    }
