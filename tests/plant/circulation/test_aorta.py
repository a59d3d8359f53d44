import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.circulation.aorta import AortaLaw, aorta_at, usual_aorta

LAWS = st.builds(AortaLaw, st.floats(2.0, 8.0), st.floats(0.0, 60.0), st.floats(15.0, 60.0))


@given(LAWS, st.floats(10.0, 200.0))
def test_compliance_is_the_slope_of_the_area(law, pressure) -> None:
    low, high = (aorta_at(law, pressure + step).area_cm2 for step in (-0.01, 0.01))
    assert aorta_at(law, pressure).compliance_cm2_mmHg == pytest.approx((high - low) / 0.02, rel=1e-4)


@given(LAWS, st.floats(70.0, 180.0), st.floats(1.0, 30.0))
def test_above_its_middle_an_aorta_stiffens_with_pressure(law, pressure, more) -> None:
    here, above = aorta_at(law, pressure), aorta_at(law, pressure + more)
    assert above.compliance_cm2_mmHg < here.compliance_cm2_mmHg and above.area_cm2 > here.area_cm2
    assert above.velocity_m_s > here.velocity_m_s


def test_age_stiffens_and_is_bounded() -> None:
    young, old = (aorta_at(usual_aorta(age, False), 100.0) for age in (25.0, 70.0))
    assert old.compliance_cm2_mmHg < 0.5 * young.compliance_cm2_mmHg
    assert usual_aorta(90.0, True) == usual_aorta(75.0, True) != usual_aorta(75.0, False)
