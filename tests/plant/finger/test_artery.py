"""The arctangent artery: its identities, its tone, its creep, and its twin."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.finger.artery import (
    Artery,
    half_width,
    largest_area,
    linear_twin,
    present_area,
    static_area,
    static_compliance,
    unloaded_pressure,
    wall_rate,
)

few = settings(max_examples=60, deadline=None)
arteries = st.from_type(Artery)
tones = st.floats(-2, 3)


@few
@given(arteries, tones, st.floats(0.01, 300))
def test_unloaded_volume_is_half_and_most_compliant(artery: Artery, tone: float, away: float) -> None:
    """a∞(p0) = A/2, compliance peaks there and is even about it, area is odd about it (Langewouters et al. 1984)."""
    centre, whole = unloaded_pressure(artery, tone), largest_area(artery, tone)
    assert static_area(artery, centre, tone) == 0.5 * whole
    peak = static_compliance(artery, centre, tone)
    below, above = (static_compliance(artery, centre + d, tone) for d in (-away, away))
    assert below == pytest.approx(above, rel=1e-9)
    assert max(below, above) <= peak
    if away > 1e-3 * half_width(artery, tone):
        assert max(below, above) < peak
    total = static_area(artery, centre - away, tone) + static_area(artery, centre + away, tone)
    assert total == pytest.approx(whole, rel=1e-12)


@few
@given(arteries, tones, st.floats(-300, 400), st.floats(0.1, 100))
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
    now = present_area(artery, creep, target)
    assert min(creep, target) - 1e-12 <= now <= max(creep, target) + 1e-12
    assert wall_rate(artery, target, target) == 0.0
    assert wall_rate(artery, creep, target) * artery.creep_time_s == pytest.approx(target - creep, rel=1e-9, abs=1e-15)


@few
@given(arteries, st.floats(20, 200), st.floats(0, 200), tones)
def test_twin_is_the_slope_of_the_compiled_functions(
    artery: Artery, arterial: float, external: float, tone: float
) -> None:
    """A, B, C, D by central differences of wall_rate and present_area over creep, arterial and external pressure."""
    twin = linear_twin(artery, arterial - external, tone)
    rest = static_area(artery, arterial - external, tone)

    def model(creep: float, inside: float, outside: float) -> np.ndarray:
        target = static_area(artery, inside - outside, tone)
        return np.array([wall_rate(artery, creep, target), present_area(artery, creep, target)])

    step = 1e-3 * half_width(artery, tone)
    by_creep = (model(rest + 0.01, arterial, external) - model(rest - 0.01, arterial, external)) / 0.02
    inside = (model(rest, arterial + step, external) - model(rest, arterial - step, external)) / (2.0 * step)
    outside = (model(rest, arterial, external + step) - model(rest, arterial, external - step)) / (2.0 * step)
    ours = np.block([[twin.a, twin.b], [twin.c, twin.d]])
    peak = static_compliance(artery, unloaded_pressure(artery, tone), tone)
    noise = 1e-8 * peak * (1.0 + 1.0 / artery.creep_time_s)
    np.testing.assert_allclose(ours, np.column_stack([by_creep, inside, outside]), rtol=1e-5, atol=noise)
    assert twin.inputs == ("arterial_pressure", "external_pressure") and twin.outputs == ("area",)
