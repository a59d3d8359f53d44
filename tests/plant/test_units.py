"""Unit conversions against their definitions."""
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant import units


def test_millimetre_of_mercury() -> None:
    """101325 Pa is one standard atmosphere, 760 mmHg: both by definition."""
    assert pytest.approx(101_325.0 / units.STANDARD_ATMOSPHERE_mmHg, rel=5e-6) == units.PASCAL_PER_MMHG


def test_reference_atmosphere() -> None:
    """ANR: 100 kPa, 20 °C; its density is that of air with a little moisture, below dry air's ideal-gas p/(R T)."""
    assert units.REFERENCE_PRESSURE_mmHg == pytest.approx(750.06, abs=0.01)  # 1 bar in mmHg, any handbook
    assert units.REFERENCE_TEMPERATURE_K == 273.15 + 20.0
    dry = 100_000.0 / (287.05 * units.REFERENCE_TEMPERATURE_K)
    assert 0.99 * dry < units.REFERENCE_DENSITY_kg_m3 < dry


def test_hydrostatic_column() -> None:
    """About 0.77 mmHg per centimetre of blood: common practice."""
    assert units.hydrostatic_mmHg(0.01) == pytest.approx(0.77, abs=0.01)


@settings(deadline=None)
@given(st.floats(-2, 2), st.floats(-2, 2))
def test_hydrostatic_is_odd_and_adds(first: float, second: float) -> None:
    """Two columns on top of each other weigh their sum; a raised hand is the mirror of a lowered one."""
    both = units.hydrostatic_mmHg(first) + units.hydrostatic_mmHg(second)
    assert units.hydrostatic_mmHg(first + second) == pytest.approx(both, abs=1e-10)
    assert units.hydrostatic_mmHg(-first) == -units.hydrostatic_mmHg(first)
