"""Tissue between bladder and artery: a share of the pressure, a short lag."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.finger.tissue import Tissue, linear_twin, tissue_rate

few = settings(max_examples=60, deadline=None)
tissues = st.from_type(Tissue)


@few
@given(tissues, st.floats(-20, 400), st.floats(-20, 400))
def test_twin_is_the_slope_of_the_compiled_function(tissue: Tissue, external: float, cuff: float) -> None:
    """A and B by central differences."""
    twin = linear_twin(tissue)
    by_external = tissue_rate(tissue, external + 1.0, cuff) - tissue_rate(tissue, external - 1.0, cuff)
    by_cuff = tissue_rate(tissue, external, cuff + 1.0) - tissue_rate(tissue, external, cuff - 1.0)
    assert by_external / 2.0 == pytest.approx(twin.a[0, 0], rel=1e-9)
    assert by_cuff / 2.0 == pytest.approx(twin.b[0, 0], rel=1e-9)


@few
@given(tissues, st.floats(0, 400))
def test_passes_its_share(tissue: Tissue, cuff: float) -> None:
    """At rest the artery feels η times the cuff's pressure, never more than all of it."""
    assert tissue_rate(tissue, tissue.transmission * cuff, cuff) == 0.0
    gain = linear_twin(tissue).response("external_pressure", "cuff_pressure", np.array([0.0]))[0]
    assert gain.real == pytest.approx(tissue.transmission, rel=1e-12) and gain.real <= 1.0 + 1e-12


@few
@given(tissues, st.floats(0.1, 5))
def test_lag_is_a_first_order_one(tissue: Tissue, times: float) -> None:
    """After k time constants e^{−k} of a step is still missing: the closed form obeys the compiled rate."""
    missing = math.exp(-times)
    rate = tissue_rate(tissue, tissue.transmission * 100.0 * (1.0 - missing), 100.0)
    assert rate == pytest.approx(tissue.transmission * 100.0 * missing / tissue.lag_s, rel=1e-9)
    corner = linear_twin(tissue).response("external_pressure", "cuff_pressure", np.array([1.0 / tissue.lag_s]))[0]
    assert np.degrees(np.angle(corner)) == pytest.approx(-45.0, abs=1e-9)
