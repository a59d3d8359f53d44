"""Unit conversions and physical constants that more than one part needs."""

PASCAL_PER_MMHG = 133.322  # conventional millimetre of mercury (BIPM; 101325/760 = 133.3224)
STANDARD_ATMOSPHERE_mmHg = 760.0  # definition
REFERENCE_PRESSURE_mmHg = 100_000.0 / PASCAL_PER_MMHG  # ANR reference atmosphere, 100 kPa (ISO 8778, from memory)
REFERENCE_TEMPERATURE_K = 293.15  # ANR (ISO 8778, from memory)
REFERENCE_DENSITY_kg_m3 = 1.185  # ANR (ISO 6358-1, from memory)
BLOOD_DENSITY_kg_m3 = 1055.0  # 1050–1060 in textbooks; 1054 is implied by Raamat et al. 2009
GRAVITY_m_s2 = 9.80665  # standard gravity


def hydrostatic_mmHg(height_m: float) -> float:
    """Pressure [mmHg] of a blood column of `height_m`: ρ g h (positive for positive height)."""
    return BLOOD_DENSITY_kg_m3 * GRAVITY_m_s2 * height_m / PASCAL_PER_MMHG
