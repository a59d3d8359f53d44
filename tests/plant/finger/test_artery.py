"""The artery's area laws: their identities, asymmetry and tone, the wall's creep, and the twin."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.finger.artery import (
    Artery,
    compliance_parts,
    fast_share,
    half_width,
    largest_area,
    law_at,
    linear_twin,
    present_area,
    pressure_of_area,
    relative_area,
    relative_compliance,
    static_area,
    static_compliance,
    unloaded_pressure,
    wall_rate,
)

few = settings(max_examples=60, deadline=None)
arteries = st.from_type(Artery)
arctangents = arteries.map(lambda vessel: vessel._replace(exponential_linear=False))
symmetric = arctangents.map(lambda vessel: vessel._replace(collapse_ratio=1.0))
tones = st.floats(-2, 3)


@few
@given(symmetric, tones, st.floats(0.01, 300))
def test_unloaded_volume_is_half_and_most_compliant(artery: Artery, tone: float, away: float) -> None:
    """a∞(p0) = A/2, compliance peaks there and is even about it, area is odd about it (Langewouters et al. 1984)."""
    centre, whole = unloaded_pressure(artery, tone), largest_area(artery, tone)
    assert static_area(artery, centre, tone) == pytest.approx(0.5 * whole, rel=1e-14)
    peak = static_compliance(artery, centre, tone)
    below, above = (static_compliance(artery, centre + d, tone) for d in (-away, away))
    assert below == pytest.approx(above, rel=1e-9)
    assert max(below, above) <= peak
    if away > 1e-3 * half_width(artery, tone):
        assert max(below, above) < peak
    total = static_area(artery, centre - away, tone) + static_area(artery, centre + away, tone)
    assert total == pytest.approx(whole, rel=1e-12)


@few
@given(arctangents, tones, st.floats(-300, 400), st.floats(0.1, 100))
def test_area_rises_with_pressure_and_never_turns_negative(
    artery: Artery, tone: float, pressure: float, more: float
) -> None:
    """Collapsed at −300 mmHg it is never less than empty (the default one nearly so); it never exceeds its largest."""
    assert static_area(artery, -300.0, tone) > 0.0
    assert static_area(Artery(), -300.0, 0.0) < 0.02
    assert static_area(artery, pressure, tone) < static_area(artery, pressure + more, tone)
    assert static_area(artery, pressure + more, tone) < largest_area(artery, tone)
    assert static_compliance(artery, pressure, tone) > 0.0


@few
@given(arteries, st.floats(-300, 300), st.floats(0.5, 2), tones)
def test_area_scales(artery: Artery, pressure: float, factor: float, tone: float) -> None:
    """A_max is a pure scale of area and compliance."""
    larger = artery._replace(maximal_area=factor * artery.maximal_area)
    expected = factor * static_area(artery, pressure, tone)
    assert static_area(larger, pressure, tone) == pytest.approx(expected, rel=1e-12)
    slope = factor * static_compliance(artery, pressure, tone)
    assert static_compliance(larger, pressure, tone) == pytest.approx(slope, rel=1e-12)


@few
@given(arteries, tones, st.floats(0.01, 1))
def test_tone_shrinks_shifts_and_stiffens(artery: Artery, tone: float, more: float) -> None:
    """Constriction: smaller A, higher p0, wider p1, lower peak compliance; dilation the opposite."""
    assert largest_area(artery, tone + more) <= largest_area(artery, tone)
    assert unloaded_pressure(artery, tone + more) >= unloaded_pressure(artery, tone)
    assert half_width(artery, tone + more) >= half_width(artery, tone)
    default = Artery()  # all three shifts at work
    assert largest_area(default, tone + more) < largest_area(default, tone)
    assert unloaded_pressure(default, tone + more) > unloaded_pressure(default, tone)
    assert half_width(default, tone + more) > half_width(default, tone)
    peaks = [static_compliance(default, unloaded_pressure(default, m), m) for m in (tone, tone + more)]
    assert peaks[1] < peaks[0]
    assert unloaded_pressure(artery, 0.0) == artery.unloaded_mmHg
    assert half_width(artery, 0.0) == artery.half_width_mmHg
    assert largest_area(artery, 0.0) == artery.maximal_area


@few
@given(arteries, st.floats(0, 5), st.floats(0, 5))
def test_wall_creeps_towards_its_target(artery: Artery, creep: float, target: float) -> None:
    """The immediate share lies between, at rest nothing moves, and the rate's sign closes the gap in time τ."""
    now = present_area(law_at(artery, 0.0), creep, target)
    assert min(creep, target) - 1e-12 <= now <= max(creep, target) + 1e-12
    assert wall_rate(artery, target, target) == 0.0
    assert wall_rate(artery, creep, target) * artery.creep_time_s == pytest.approx(target - creep, rel=1e-9, abs=1e-15)


@few
@given(arctangents, st.floats(-150, 200), tones)
def test_twin_is_the_slope_of_the_compiled_functions(artery: Artery, transmural: float, tone: float) -> None:
    """A, B, C, D by central differences of wall_rate and present_area over creep and transmural pressure."""
    twin = linear_twin(artery, transmural, tone)
    rest, law = static_area(artery, transmural, tone), law_at(artery, tone)

    def model(creep: float, pressure: float) -> np.ndarray:
        target = static_area(artery, pressure, tone)
        return np.array([wall_rate(artery, creep, target), present_area(law, creep, target)])

    step = 1e-4 * law.below_mmHg
    by_creep = (model(rest + 0.01, transmural) - model(rest - 0.01, transmural)) / 0.02
    by_pressure = (model(rest, transmural + step) - model(rest, transmural - step)) / (2.0 * step)
    ours = np.block([[twin.a, twin.b], [twin.c, twin.d]])
    peak = static_compliance(artery, unloaded_pressure(artery, tone), tone)
    noise = 1e-4 * peak * (1.0 + 1.0 / artery.creep_time_s)  # a kink of the second derivative at the peak
    np.testing.assert_allclose(ours, np.column_stack([by_creep, by_pressure]), rtol=1e-5, atol=noise)
    assert twin.inputs == ("transmural_pressure",) and twin.outputs == ("area",)


# --- either side of the peak its own width ------------------------------------------------------------------------


@few
@given(arteries, tones, st.floats(-6, 6))
def test_compliance_is_the_slope_of_area_in_every_law(artery: Artery, tone: float, widths: float) -> None:
    """d(area)/dp by central difference, on both sides of the peak and across it; numerator and denominator agree."""
    law, width = law_at(artery, tone), half_width(artery, tone)
    pressure, step = law.unloaded_mmHg + widths * width, 1e-5 * width
    rise = relative_area(law, pressure + step) - relative_area(law, pressure - step)
    slope = relative_compliance(law, pressure)
    peak = relative_compliance(law, law.unloaded_mmHg)
    assert rise / (2.0 * step) == pytest.approx(slope, rel=1e-5, abs=1e-4 * peak)
    above, below = compliance_parts(law, pressure)
    assert above / below == slope
    assert 0.0 <= slope <= peak * (1.0 + 1e-12)


@few
@given(arctangents, tones)
def test_each_side_halves_at_its_own_width(artery: Artery, tone: float) -> None:
    """Half the peak compliance at p0 − w₋ and p0 + w₊, whose ratio is asked for and whose mean is p1."""
    law = law_at(artery, tone)
    peak = relative_compliance(law, law.unloaded_mmHg)
    for side in (-law.below_mmHg, law.above_mmHg):
        assert relative_compliance(law, law.unloaded_mmHg + side) == pytest.approx(0.5 * peak, rel=1e-12)
    assert law.below_mmHg / law.above_mmHg == pytest.approx(artery.collapse_ratio, rel=1e-12)
    assert 0.5 * (law.below_mmHg + law.above_mmHg) == pytest.approx(half_width(artery, tone), rel=1e-12)
    assert relative_area(law, law.unloaded_mmHg) == pytest.approx(
        artery.collapse_ratio / (1.0 + artery.collapse_ratio), rel=1e-12)


@few
@given(arteries, tones, st.floats(0.02, 0.98))
def test_pressure_of_area_is_the_inverse(artery: Artery, tone: float, share: float) -> None:
    """The area at the pressure found is the share asked for, in both laws."""
    found = pressure_of_area(artery, share, tone)
    assert relative_area(law_at(artery, tone), found) == pytest.approx(share, rel=1e-7)


@few
@given(arteries, tones, st.floats(0.01, 1))
def test_tone_takes_the_fast_share_away(artery: Artery, tone: float, more: float) -> None:
    """φ* at no tone, less when constricted, always a share; without tone viscosity tone leaves it."""
    assert fast_share(artery, 0.0) == pytest.approx(artery.fast_fraction, rel=1e-12)
    assert 0.0 < fast_share(artery, tone + more) <= fast_share(artery, tone) <= 1.0
    plain = artery._replace(tone_viscosity=0.0)
    assert fast_share(plain, tone) == pytest.approx(artery.fast_fraction, rel=1e-12)
