"""Flow from the heart into the aorta, beat by beat.

One beat is u^a (1 − u)^b over the ejection time, then a short reverse flow while the valve closes; its net volume is
the stroke volume, sample for sample. Ejection time by rate and stroke volume: 244.3 − 0.925 HR + 1.083 SV ms (22 pairs
of Weissler and others 1961, second-hand; residual SD 13 ms).
"""
from __future__ import annotations

import numpy as np

from plant.circulation.line import Samples

RISE = 1.3  # a; b follows from where the flow peaks
REVERSED_mL, CLOSURE_s = 0.73, 0.03  # regurgitation at 70 mL, and its time (duration invented)
SHORTEST_s, LONGEST_SHARE = 0.12, 0.62  # of ejection; of the beat


def ejection_s(rate_per_min: float, stroke_mL: float, factor: float = 1.0) -> float:
    """Ejection time of a beat."""
    usual = 1e-3 * (244.3 - 0.925 * rate_per_min + 1.083 * stroke_mL) * factor
    return min(max(usual, SHORTEST_s), LONGEST_SHARE * 60.0 / rate_per_min)


def beat_flow_mL_s(time_s: Samples, duration_s: float, peak: float, stroke_mL: float) -> Samples:
    """Flow at evenly spaced times since the valve opens; its sum times their step is `stroke_mL`.

    `peak` is the share of the ejection at which flow is highest. The times must reach past the valve's closure.
    """
    step = float(time_s[1] - time_s[0])
    fall = RISE * (1.0 - peak) / peak
    u = np.clip(time_s / duration_s, 0.0, 1.0)
    forward = u**RISE * (1.0 - u) ** fall
    closing = np.clip((time_s - duration_s) / CLOSURE_s, 0.0, 1.0)
    backward = np.sin(np.pi * closing) ** 2
    lost = REVERSED_mL * stroke_mL / 70.0
    total = float(np.sum(backward)) * step
    flow = forward * ((stroke_mL + (lost if total > 0.0 else 0.0)) / (float(np.sum(forward)) * step))
    return np.asarray(flow - backward * (lost / total) if total > 0.0 else flow)
