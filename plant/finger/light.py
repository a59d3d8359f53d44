"""Light path: attenuation in arterial and venous blood, ambient light, photodiode filter, dark sample, converter.

    I = E T e^{−d} + I_ambient,     dm/dt = 2π f (I − m)
    d = x = μ_a l_a a + μ_v l_v v          (Beer–Lambert), or, where light diffuses,
    d = Λ (√(1 + 2x/Λ) − 1)                (diffusion in a slab whose depth without blood is Λ: the path shortens with
                                            blood; form after the diffusion approximation, derived here)
A dark sample: the emitter is off for t_d of each tick, then on; what was dark is taken off what is lit. Ambient light
cancels, flicker but for 2 sin(πfΔ) over Δ = (t_d + t_l)/2 + settling. Its price: the filter makes way for one of 4 kHz
and a mean over the lit window t_l, τ = t_l/2 + 1/(2π 4 kHz); noise grows by √(1 + t_l/t_d) and with the band of that
mean, 1/(2 t_l) against π/2 f. Technique: common practice in pulse oximetry, from memory.
Everything is a fraction of the converter's full scale. Tissue attenuation is part of the transmission T.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.errors import InputError
from plant.linear import Linear, linear
from plant.numerics.elementary import atan, cosine_of_turns, exp
from plant.numerics.vector import anywhere, choose

FRONT_s = 1.0 / (2.0 * math.pi * 4000.0)  # time constant of the filter before the window (invented: 4 kHz)
SETTLING_s = 1.5e-4  # after the emitter is switched, before the lit window: four of those time constants


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
    dark_ms: Annotated[
        float, quantity("ms", 0, 5, "time of a tick without the emitter, sampled and taken off (t_d); 0: none",
                        "0.2 fits a tick of 1 ms: estimate")
    ] = 0.0
    lit_ms: Annotated[
        float, quantity("ms", 0.05, 10, "lit window of a tick with a dark sample (t_l)", "0.5 fits it: estimate")
    ] = 0.5
    diffuse_depth: Annotated[
        float, quantity("1", 0, 20, "optical depth of tissue without blood where light diffuses (Λ); 0: Beer–Lambert",
                        "about 3, 2–5: √(3 μ_a μ_s') times 1–1.5 cm, from memory")
    ] = 0.0


@compiled
def blood_depth(light: Light, area: float, venous_volume: float) -> float:
    """Optical depth x of the blood along the path that light takes without it."""
    depth: float = light.arterial_absorption_per_cm * light.arterial_path_cm * area
    depth += light.venous_absorption_per_cm * light.venous_path_cm * venous_volume
    return depth


@compiled
def path_share(light: Light, depth: float) -> float:
    """Path left of that without blood, 1/√(1 + 2x/Λ): the slope of the depth that counts over x."""
    share = 1.0 + 0.0 * depth
    if anywhere(light.diffuse_depth > 0.0):
        per_depth = choose(light.diffuse_depth > 0.0, 2.0 / max(light.diffuse_depth, 1e-9), 0.0)
        share = 1.0 / math.sqrt(1.0 + depth * per_depth)
    return share


@compiled
def ambient_seen(light: Light, ambient: float) -> float:
    """Steady ambient light in a sample: none behind a dark sample."""
    seen: float = choose(light.dark_ms > 0.0, 0.0, ambient)
    return seen


@compiled
def light_intensity(light: Light, area: float, venous_volume: float, ambient: float) -> float:
    """Light in a steady sample (fraction of full scale) for arterial area, venous volume (fractions), ambient light."""
    depth = blood_depth(light, area, venous_volume)
    if anywhere(light.diffuse_depth > 0.0):  # Λ(√(1 + 2x/Λ) − 1) is 2x/(1 + √(1 + 2x/Λ)): no difference of likes
        root = 1.0 / path_share(light, depth)
        depth = 2.0 * depth / (1.0 + root)
    return light.emitter * light.transmission * exp(-depth) + ambient_seen(light, ambient)


@compiled
def light_per_area(light: Light, area: float, venous_volume: float) -> float:
    """Light lost per arterial area, −dI/da, at arterial area and venous volume (fractions)."""
    lit = light_intensity(light, area, venous_volume, 0.0)
    per_depth = light.arterial_absorption_per_cm * light.arterial_path_cm
    return lit * per_depth * path_share(light, blood_depth(light, area, venous_volume))


@compiled
def filter_rate_per_s(light: Light) -> float:
    """1/τ [1/s] of the photodiode's filter, or of the mean over the lit window that stands in for it."""
    windowed = 1.0 / (5e-4 * light.lit_ms + FRONT_s)
    rate: float = choose(light.dark_ms > 0.0, windowed, 2.0 * math.pi * light.bandwidth_Hz)
    return rate


@compiled
def noise_factor(light: Light) -> float:
    """SD of a sample's noise over that of one without a dark sample."""
    lit_s, dark_s = 1e-3 * light.lit_ms, 1e-3 * light.dark_ms
    band = 1.0 / (2.0 * lit_s * 0.5 * math.pi * light.bandwidth_Hz)
    factor: float = choose(dark_s > 0.0, math.sqrt(band * (1.0 + lit_s / max(dark_s, 1e-6))), 1.0)
    return factor


@compiled
def photodiode_rate(light: Light, signal: float, intensity: float) -> float:
    """Rate of the filtered photodiode signal [1/s]."""
    return filter_rate_per_s(light) * (intensity - signal)


@compiled
def flicker_sample(light: Light, time_s: float) -> float:
    """Steady flicker in a sample at a time [s]: gain and phase of the filter's lag, less what was there in the dark."""
    ratio = light.flicker_Hz * 2.0 * math.pi / filter_rate_per_s(light)
    gain = light.flicker / math.sqrt(1.0 + ratio * ratio)
    turns = light.flicker_Hz * time_s - atan(ratio) * (0.5 / math.pi) - 0.25
    apart = light.flicker_Hz * (5e-4 * (light.dark_ms + light.lit_ms) + SETTLING_s)  # f Δ: sin a − sin(a − 2πfΔ)
    dark = light.dark_ms > 0.0
    left: float = choose(dark, 2.0 * cosine_of_turns(0.5 * apart - 0.25), 1.0)
    return gain * left * cosine_of_turns(choose(dark, turns + 0.25 - 0.5 * apart, turns))


def linear_twin(light: Light, area: float, venous_volume: float) -> Linear:
    """Twin: (`area`, `venous_volume`) to `light`, at an operating point (fractions)."""
    lit = float(light_intensity(light, area, venous_volume, 0.0))
    omega = float(filter_rate_per_s(light))
    by_area = -float(light_per_area(light, area, venous_volume))
    by_vein = -lit * light.venous_absorption_per_cm * light.venous_path_cm
    by_vein *= float(path_share(light, blood_depth(light, area, venous_volume)))
    return linear(-omega, [[omega * by_area, omega * by_vein]], 1.0, [[0.0, 0.0]], "area venous_volume", "light",
                  "photodiode")


def sample_deviation(light: Light) -> float:
    """Standard deviation of a sample of light, share of full scale: white noise and the converter's steps, step/√12."""
    step = 2.0**-light.bits if light.bits > 0 else 0.0
    steps = step / math.sqrt(6.0 if light.dark_ms > 0.0 else 12.0)  # of two samples, or of one
    return math.hypot(light.noise * float(noise_factor(light)), steps)


def dark_sample_fits(light: Light, period_s: float) -> None:
    """Nothing where a tick has time for dark sample, settling and lit window; else InputError."""
    taken_ms = light.dark_ms + 1e3 * SETTLING_s + light.lit_ms
    if light.dark_ms > 0.0 and taken_ms > 1e3 * period_s:
        raise InputError(
            f"light.dark_ms = {light.dark_ms:g} with light.lit_ms = {light.lit_ms:g} and {1e3 * SETTLING_s:g} ms of "
            f"settling take {taken_ms:g} ms of a tick of {1e3 * period_s:g} ms; at most that fits")
