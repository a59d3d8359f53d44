"""Absorption of blood and water in the red and near infrared, from two published tables that disagree.

μ_a = 2.303 ε c / M  with ε the decadic molar extinction per four-haem haemoglobin, c the haemoglobin concentration.
"""
from __future__ import annotations

import math
from typing import Literal

from plant.errors import InputError

Table = Literal["moaveni", "prahl"]

# wavelength nm: (HbO2, Hb) in 1/(cm·M). Moaveni/Schmitt table and the Prahl compilation, both read as published
# tables; Prahl's 900 nm row is from memory.
EXTINCTION: dict[str, dict[int, tuple[float, float]]] = {
    "moaveni": {660: (320, 3200), 900: (1200, 880), 930: (1240, 800), 940: (1200, 800), 950: (1200, 720)},
    "prahl": {660: (319.6, 3226.56), 900: (1198, 761.84), 930: (1222, 763.84), 940: (1214, 693.44),
              950: (1204, 602.24)},
}
MOLAR_MASS_g_mol = {"moaveni": 66_500.0, "prahl": 64_500.0}
WATER_PER_CM = {660: 0.0036, 940: 0.29}  # read second-hand


def blood_absorption(
    wavelength_nm: int, saturation: float, haemoglobin_g_L: float = 150.0, table: Table = "moaveni",
    molar_mass_g_mol: float | None = None,
) -> float:
    """Absorption coefficient μ_a [1/cm] of whole blood. Raises InputError off the table or its range.

    Each table goes with its own molar mass; mixing them is possible but must be asked for.
    """
    if table not in EXTINCTION:
        raise InputError(f"table '{table}' is not known; use one of {', '.join(EXTINCTION)}")
    rows = EXTINCTION[table]
    if wavelength_nm not in rows:
        raise InputError(f"wavelength_nm = {wavelength_nm} is not in the {table} table; use one of {sorted(rows)}")
    if not 0.0 <= saturation <= 1.0:
        raise InputError(f"saturation = {saturation} is outside 0 … 1")
    molar_mass = MOLAR_MASS_g_mol[table] if molar_mass_g_mol is None else molar_mass_g_mol
    if not 0.0 <= haemoglobin_g_L < math.inf:
        raise InputError(f"haemoglobin_g_L = {haemoglobin_g_L} must be 0 or more")
    if not 0.0 < molar_mass < math.inf:
        raise InputError(f"molar_mass_g_mol = {molar_mass} must be above 0")
    oxygenated, reduced = rows[wavelength_nm]
    mean = saturation * oxygenated + (1.0 - saturation) * reduced
    return 2.303 * mean * haemoglobin_g_L / molar_mass
