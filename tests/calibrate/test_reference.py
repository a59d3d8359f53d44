import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.reference import GAIN_SD, UNREFERENCED, CuffReference, SHIFT_SD_mmHg, referenced
from plant.errors import InputError


def seen(shift, gain, time_s=0.0, systolic=125.0, diastolic=70.0, sd=0.01):
    middle = (125.0 + 140.0) / 3.0
    top, foot = (middle + shift + gain * (p - middle) for p in (systolic, diastolic))
    return CuffReference(time_s, top, foot, systolic, diastolic, sd)


@given(st.floats(-15, 15), st.floats(0.8, 1.2))
def test_a_sure_reference_is_believed(shift, gain) -> None:
    found = referenced([seen(shift, gain)])
    assert found.shift_mmHg == pytest.approx(shift, abs=0.01) and found.gain == pytest.approx(gain, abs=0.001)
    assert found.apply(np.array([125.0]))[0] == pytest.approx(seen(shift, gain).systolic_mmHg, abs=0.02)


def test_an_unsure_reference_moves_less_and_several_narrow_it() -> None:
    sure, unsure = referenced([seen(10.0, 1.0, sd=1.0)]), referenced([seen(10.0, 1.0, sd=10.0)])
    assert 0.0 < unsure.shift_mmHg < sure.shift_mmHg < 10.0
    many = referenced([seen(10.0, 1.0, 60.0 * k, sd=10.0) for k in range(10)])
    assert many.sd_mmHg(90.0, 600.0) < unsure.sd_mmHg(90.0, 0.0) and many.shift_mmHg > unsure.shift_mmHg


def test_without_any_it_is_people_and_with_age_it_loses_weight() -> None:
    assert referenced([]) is UNREFERENCED
    assert UNREFERENCED.sd_mmHg(90.0, 0.0) == pytest.approx(SHIFT_SD_mmHg)
    assert UNREFERENCED.sd_mmHg(140.0, 0.0) == pytest.approx(np.hypot(SHIFT_SD_mmHg, 50.0 * GAIN_SD))
    found = referenced([seen(5.0, 1.0, sd=2.0)])
    assert found.sd_mmHg(90.0, 7200.0) > found.sd_mmHg(90.0, 0.0)
    late = referenced([seen(5.0, 1.0, 0.0, sd=3.0), seen(-5.0, 1.0, 36_000.0, sd=3.0)])
    assert late.shift_mmHg < 0.0  # the newer one has more to say


def test_refusal() -> None:
    with pytest.raises(InputError, match="70/120 mmHg must be systolic above diastolic"):
        referenced([CuffReference(0.0, 70.0, 120.0, 120.0, 70.0)])
