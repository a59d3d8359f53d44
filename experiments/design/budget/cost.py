"""What one loop of a rig costs: its margins, and the error that pulse and noise leave, all by the linear loop."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from controller.margins.following import Following, noise_rms_mmHg
from controller.margins.loop import build_loop, loop_margins, sides
from controller.tick.law import design
from experiments.rigs.rig import Rig, clamp
from experiments.subjects.bands import Bands
from experiments.work.packed import storable
from plant.finger.light import sample_deviation
from plant.pneumatics.flow_valve import Side


@storable
class LoopCost(NamedTuple):
    """Figures of one side of a rig at one pressure; NaN, all but the modulus margin, when it is unstable."""

    phase_margin_deg: float
    delay_margin_ticks: float
    sensitivity_peak: float
    error_mmHg: float  # rms of what the pulse and the noise leave
    modulus_margin: float  # negative when unstable


FIGURES = {"phase_margin_deg": "°", "delay_margin_ticks": "ticks", "sensitivity_peak": "", "error_mmHg": "mmHg"}


def loop_cost(rig: Rig, arterial_mmHg: float, side: Side, bands: Bands) -> LoopCost:
    """The figures at an arterial pressure [mmHg] that pulses with `bands`; calibrated there. Raises InputError."""
    point = clamp(rig, arterial_mmHg, rig.tone.level)
    coefficients = design(rig.controller, rig.timing.period_s)
    loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, coefficients)
    found = loop_margins(loop)
    if not (found.stable and found.resolved):
        nothing = math.nan
        return LoopCost(nothing, nothing, nothing, nothing, -found.modulus_margin if found.resolved else math.nan)
    pulse = Following(loop, bands.omega).rms_error_mmHg(coefficients, bands.rms_mmHg)
    transducer = rig.plant.transducer
    slope = abs(point.light_slope)
    noise = noise_rms_mmHg(
        loop, coefficients, sample_deviation(rig.plant.light) / slope,
        math.hypot(transducer.noise_mmHg, _steps(transducer.full_scale_mmHg, transducer.bits)),
        coefficients.output_quantum / math.sqrt(12.0),
    )
    return LoopCost(
        found.phase_margin_deg, found.delay_margin_ticks, found.sensitivity_peak, math.hypot(pulse, noise),
        found.modulus_margin,
    )


def worst_cost(rig: Rig, arterial_mmHg: float, bands: Bands) -> LoopCost:
    """The worst of each figure over the sides of the valve. Raises InputError."""
    found = [loop_cost(rig, arterial_mmHg, side, bands) for side in sides(rig.plant)]
    phase, delay, peak, error, modulus = zip(*found, strict=True)
    unstable = any(math.isnan(cost.phase_margin_deg) for cost in found)
    least = float(np.min(modulus))
    if unstable:
        return LoopCost(math.nan, math.nan, math.nan, math.nan, least)
    return LoopCost(min(phase), min(delay), max(peak), max(error), least)


def _steps(span: float, bits: int) -> float:
    """SD of a converter's steps: one step over √12."""
    return span * 2.0**-bits / math.sqrt(12.0) if bits > 0 else 0.0


def difference(changed: LoopCost, before: LoopCost) -> LoopCost:
    """What a change brings, figure by figure."""
    return LoopCost(*(float(v) for v in np.subtract(changed, before)))
