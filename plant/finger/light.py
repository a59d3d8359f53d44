"""Light path: Beer–Lambert attenuation in arterial and venous blood, ambient light, photodiode filter, converter.

    I = E T e^{−μ_a l_a a − μ_v l_v v} + I_ambient,     dm/dt = 2π f (I − m)
Everything is a fraction of the converter's full scale. Tissue attenuation is part of the transmission T.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.numerics.elementary import atan, cosine_of_turns, exp


class Light(NamedTuple):
    """Emitter, tissue, photodiode and converter at about 940 nm."""

    emitter: Annotated[float, quantity("1", 0, 10, "emitter drive, 1 nominal", "normalised")] = 1.0
    transmission: Annotated[
        float, quantity("1", 1e-4, 1, "detected share of full scale with no blood, at nominal drive", "invented")
    ] = 0.7
    arterial_absorption_per_cm: Annotated[
        float, quantity("1/cm", 0, 50, "μ_a of arterial blood", "97 % saturation, 150 g/L, 940 nm: Moaveni table")
    ] = 6.171
    arterial_path_cm: Annotated[
        float, quantity("cm", 1e-4, 1, "mean light path in the arteries at maximal area", "invented: AC/DC 0.5–5 %")
    ] = 0.06
    venous_absorption_per_cm: Annotated[
        float, quantity("1/cm", 0, 50, "μ_a of venous blood", "75 % saturation, 150 g/L, 940 nm: Moaveni table")
    ] = 5.714
    venous_path_cm: Annotated[
        float, quantity("cm", 0, 1, "mean light path in the veins when full", "invented")
    ] = 0.04
    bandwidth_Hz: Annotated[float, quantity("Hz", 5, 5000, "-3 dB of the photodiode filter", "common practice")] = 250.0
    ambient: Annotated[float, quantity("1", 0, 1, "steady ambient light at the detector", "invented")] = 0.02
    flicker: Annotated[float, quantity("1", 0, 1, "amplitude of mains flicker", "invented")] = 0.0
    flicker_Hz: Annotated[
        float, quantity("Hz", 1, 1000, "flicker frequency, twice the mains", "100 or 120 Hz, common practice")
    ] = 100.0
    noise: Annotated[float, quantity("1", 0, 0.1, "SD of white noise in a sample", "invented")] = 2e-5
    bits: Annotated[int, quantity("1", 0, 24, "converter bits, 0 for no steps", "common practice")] = 16


@compiled
def light_intensity(light: Light, area: float, venous_volume: float, ambient: float) -> float:
    """Light at the photodiode (fraction of full scale) for arterial area and venous volume (fractions)."""
    depth = light.arterial_absorption_per_cm * light.arterial_path_cm * area
    depth += light.venous_absorption_per_cm * light.venous_path_cm * venous_volume
    return light.emitter * light.transmission * exp(-depth) + ambient


@compiled
def photodiode_rate(light: Light, signal: float, intensity: float) -> float:
    """Rate of the filtered photodiode signal [1/s]."""
    return 2.0 * math.pi * light.bandwidth_Hz * (intensity - signal)


@compiled
def flicker_sample(light: Light, time_s: float) -> float:
    """Steady flicker behind the photodiode filter at a time [s]: the first-order lag's gain and phase."""
    ratio = light.flicker_Hz / light.bandwidth_Hz
    gain = light.flicker / math.sqrt(1.0 + ratio * ratio)
    turns = light.flicker_Hz * time_s - atan(ratio) * (0.5 / math.pi)
    return gain * cosine_of_turns(turns - 0.25)


def linear_twin(light: Light, area: float, venous_volume: float) -> Linear:
    """Twin: (`area`, `venous_volume`) to `light`, at an operating point (fractions)."""
    lit = float(light_intensity(light, area, venous_volume, 0.0))
    omega = 2.0 * math.pi * light.bandwidth_Hz
    by_area = -lit * light.arterial_absorption_per_cm * light.arterial_path_cm
    by_vein = -lit * light.venous_absorption_per_cm * light.venous_path_cm
    return linear(-omega, [[omega * by_area, omega * by_vein]], 1.0, [[0.0, 0.0]], "area venous_volume", "light",
                  "photodiode")


def sample_deviation(light: Light) -> float:
    """Standard deviation of a sample of light, share of full scale: white noise and the converter's steps, step/√12."""
    step = 2.0**-light.bits if light.bits > 0 else 0.0
    return math.hypot(light.noise, step / math.sqrt(12.0))
