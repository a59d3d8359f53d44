"""The arctangent law of the aorta against worked numbers of its published parameters.

Langewouters, Wesseling & Goedhard, J Biomech 1984;17:425 (law); parameters by age and sex second-hand, the numbers
worked out apart from this code with a blood density of 1.05 g/mL, for which impedance and velocity are put right here.
"""
import math

import pytest

from plant.circulation.aorta import aorta_at, usual_aorta
from plant.circulation.line import DENSITY_kg_m3

TABLE = [  # age, woman, area cm², compliance cm²/mmHg, impedance mmHg s/mL, velocity m/s at 100 mmHg
    (40.0, False, 4.5751, 0.01381, 0.1117, 6.49), (40.0, True, 3.3926, 0.00923, 0.1586, None),
    (60.0, False, 4.9465, 0.00790, 0.1419, 8.92), (25.0, False, 4.2198, 0.01934, 0.0982, 5.26),
]


@pytest.mark.parametrize(("age", "female", "area", "compliance", "impedance", "velocity"), TABLE)
def test_worked_numbers(age, female, area, compliance, impedance, velocity) -> None:
    found, denser = aorta_at(usual_aorta(age, female), 100.0), math.sqrt(DENSITY_kg_m3 / 1050.0)
    assert found.area_cm2 == pytest.approx(area, abs=6e-5)
    assert found.compliance_cm2_mmHg == pytest.approx(compliance, abs=6e-6)
    assert found.impedance_mmHg_s_mL == pytest.approx(impedance * denser, abs=6e-5)
    if velocity is not None:
        assert found.velocity_m_s == pytest.approx(velocity / denser, abs=6e-3)


def test_largest_areas_lie_within_those_of_the_aortas_that_were_measured() -> None:
    assert 2.6 <= usual_aorta(40.0, True).largest_cm2 < usual_aorta(40.0, False).largest_cm2 <= 7.6
