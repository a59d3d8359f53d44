"""A uniform piece of artery as a line with losses: friction after Womersley, a viscoelastic wall.

Per length: series impedance z = jωρ/(A (1 − F)), shunt admittance y = jω/(1/C′ + jωη), so that γ = √(zy) and
Z_c = √(z/y). F = 2 J₁(w)/(w J₀(w)) with w = j^{3/2} α and α = r√(ωρ/μ) (Womersley, J Physiol 1955;127:553); without
flow change z becomes 8μ/(πr⁴) (Poiseuille). Elastic wall: c² = ⅔ (E h/r)/ρ with E h/r = k₁ exp(k₂ r) + k₃ (Olufsen
1999), C′ = A/(ρc²); viscous wall: η = Γ/A^{3/2} (Alastruey and others 2011). SI units inside.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

DENSITY_kg_m3 = 1060.0  # blood, textbook
VISCOSITY_Pa_s = 2.5e-3  # as in the source of the geometry
SMALL_VESSELS_Pa, NARROWING_per_m = 3e5, -1350.0  # k₁, k₂: 3·10⁶ g/(s² cm) and −13.5/cm, second-hand
WALL_kg_s, WALL_kg_m_s = 0.6, 1.5e-3  # Γ = 0.6 kg/s + 0.0015 kg m/s / diameter, second-hand


class Lines(NamedTuple):
    """Uniform pieces, each field of shape (pieces,)."""

    length_m: Samples
    radius_m: Samples
    stiffness_Pa: Samples  # E h/r
    wall_kg_s: Samples  # Γ


class TwoPort(NamedTuple):
    """Admittances [m³/(Pa s)] of pieces at frequencies, shape (pieces, frequencies); the pieces are symmetrical."""

    own: Complex  # flow into an end by the pressure there
    across: Complex  # by the pressure at the other end


def stiffness_Pa(radius_m: Samples, large_Pa: float) -> Samples:
    """E h/r of an artery of that radius; `large_Pa`, k₃, is that of a very large one."""
    return np.asarray(SMALL_VESSELS_Pa * np.exp(NARROWING_per_m * radius_m) + large_Pa)


def wall_kg_s(radius_m: Samples) -> Samples:
    """Viscous coefficient Γ of the wall."""
    return np.asarray(WALL_kg_s + WALL_kg_m_s / (2.0 * radius_m))


def speed_m_s(stiffness: Samples) -> Samples:
    """Wave speed without losses, of walls of that E h/r [Pa] (Moens & Korteweg)."""
    return np.asarray(np.sqrt(2.0 / 3.0 * stiffness / DENSITY_kg_m3))


def compliance_m3_Pa(lines: Lines) -> Samples:
    """Compliance of each piece without its wall's viscosity."""
    area = np.pi * lines.radius_m**2
    return np.asarray(lines.length_m * area / (2.0 / 3.0 * lines.stiffness_Pa))


def characteristic_Pa_s_m3(lines: Lines) -> Samples:
    """Z_c = ρc/A without losses."""
    return np.asarray(DENSITY_kg_m3 * speed_m_s(lines.stiffness_Pa) / (np.pi * lines.radius_m**2))


def series_impedance(radius_m: Samples, frequency_Hz: Samples) -> Complex:
    """z [Pa s/m⁴], shape (pieces, frequencies); at 0 Hz it is Poiseuille's resistance."""
    from scipy.special import jve

    area = np.pi * radius_m[:, None] ** 2
    omega = 2.0 * np.pi * np.where(frequency_Hz > 0.0, frequency_Hz, 1.0)[None, :]
    w = np.exp(0.75j * np.pi) * radius_m[:, None] * np.sqrt(omega * DENSITY_kg_m3 / VISCOSITY_Pa_s)
    z = 1j * omega * DENSITY_kg_m3 / (area * (1.0 - 2.0 * jve(1, w) / (w * jve(0, w))))
    still = 8.0 * VISCOSITY_Pa_s / (area * radius_m[:, None] ** 2)
    return np.asarray(np.where(frequency_Hz[None, :] > 0.0, z, still))


def two_port(lines: Lines, frequency_Hz: Samples) -> TwoPort:
    """Admittances of the pieces at frequencies [Hz], 0 among them or not."""
    length = lines.length_m[:, None]
    area = np.pi * lines.radius_m[:, None] ** 2
    z = series_impedance(lines.radius_m, frequency_Hz)
    omega = 2.0 * np.pi * frequency_Hz[None, :]
    elastic = 2.0 / 3.0 * lines.stiffness_Pa[:, None] / area  # 1/C′
    y = 1j * omega / (elastic + 1j * omega * lines.wall_kg_s[:, None] / area**1.5)
    moving = omega > 0.0
    gamma = np.sqrt(z * np.where(moving, y, 1.0)) * length
    decay = np.exp(-gamma)
    span = (1.0 - decay**2) * z * length / gamma  # 2 e^{−γl} · (z/γ) sinh γl
    own = np.where(moving, (1.0 + decay**2) / span, 1.0 / (z * length))
    across = np.where(moving, -2.0 * decay / span, -1.0 / (z * length))
    return TwoPort(own, across)
