"""Venous blood: squeezed out faster than it comes back."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.finger.vein import Vein, linear_twin, vein_rate, vein_target

few = settings(max_examples=60, deadline=None)
veins = st.from_type(Vein)


@few
@given(veins, st.floats(0, 300), st.floats(0.1, 100))
def test_pressure_squeezes(vein: Vein, external: float, more: float) -> None:
    """Full without pressure, never fuller with more, never below what cannot be squeezed out."""
    assert vein_target(vein, 0.0) == pytest.approx(1.0, rel=1e-15)
    assert vein_target(vein, -external) == vein_target(vein, 0.0)
    assert vein.least_volume <= vein_target(vein, external + more) <= vein_target(vein, external)
    share = (vein_target(vein, vein.squeeze_mmHg) - vein.least_volume) * math.e
    assert share == pytest.approx(1.0 - vein.least_volume, rel=1e-9, abs=1e-12)


@few
@given(veins, st.floats(0, 300), st.floats(1e-3, 0.5))
def test_emptying_and_filling_have_their_own_times(vein: Vein, external: float, gap: float) -> None:
    """At rest nothing moves; the same gap closes at gap/τ, with τ by direction."""
    rest = vein_target(vein, external)
    assert vein_rate(vein, rest, external) == 0.0
    assert vein_rate(vein, rest + gap, external) == pytest.approx(-gap / vein.emptying_s, rel=1e-9)
    assert vein_rate(vein, rest - gap, external) == pytest.approx(gap / vein.filling_s, rel=1e-9)


def test_default_empties_faster_than_it_fills() -> None:
    """Squeezed out by pressure, refilled over seconds: the asymmetry that misleads a naive search."""
    vein = Vein()
    rest = vein_target(vein, 80.0)
    assert -vein_rate(vein, rest + 0.1, 80.0) > 2.0 * vein_rate(vein, rest - 0.1, 80.0)


@few
@given(veins, st.floats(1, 200))
def test_twin_is_the_slope_on_the_emptying_side(vein: Vein, external: float) -> None:
    """One-sided differences: a little too much volume, or a little more pressure, and the vein empties."""
    twin = linear_twin(vein, external)
    rest = vein_target(vein, external)
    step = 1e-5 * vein.squeeze_mmHg
    by_volume = vein_rate(vein, rest + 1e-4, external) / 1e-4
    by_pressure = vein_rate(vein, rest, external + step) / step
    assert twin.a[0, 0] == pytest.approx(by_volume, rel=1e-9)
    # where the squeeze is complete the target's last bits limit the difference
    assert twin.b[0, 0] == pytest.approx(by_pressure, rel=1e-4, abs=1e-9 / (vein.emptying_s * step * 1e5))
    np.testing.assert_array_equal((twin.c, twin.d), ([[1.0]], [[0.0]]))


def test_twin_without_pressure_has_no_gain() -> None:
    """Below zero external pressure there is nothing to squeeze with."""
    assert linear_twin(Vein(), 0.0).b[0, 0] == 0.0
    assert linear_twin(Vein(), -5.0).b[0, 0] == 0.0
