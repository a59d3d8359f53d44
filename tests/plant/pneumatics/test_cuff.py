"""The bladder: how it grows, what leaks, that air is neither made nor lost, and its twin."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.pneumatics.air import Air, expansion
from plant.pneumatics.cuff import (
    GAMMA,
    Cuff,
    bladder_growth,
    bladder_volume,
    content_at_rest,
    content_rate,
    cuff_rate,
    linear_twin,
    wall_exchange_per_s,
)

few = settings(max_examples=60, deadline=None)
cuffs = st.from_type(Cuff)
airs = st.from_type(Air)
pressures = st.floats(0, 400)
line_mL = st.floats(0, 50)


@few
@given(cuffs, st.floats(-50, 600))
def test_growth_is_the_slope_of_volume(cuff: Cuff, pressure: float) -> None:
    """dV/dp by central differences, on both sides of zero and across it: the wall has no kink."""
    step = 1e-4 * cuff.half_growth_mmHg
    rise = bladder_volume(cuff, pressure + step) - bladder_volume(cuff, pressure - step)
    at_most = cuff.growth_mL / cuff.half_growth_mmHg
    noise = 1e-14 * (cuff.volume_mL + cuff.growth_mL) / step
    assert rise / (2.0 * step) == pytest.approx(bladder_growth(cuff, pressure), abs=2e-4 * at_most + noise)


@few
@given(cuffs, pressures, st.floats(1, 100))
def test_bladder_grows_and_stiffens(cuff: Cuff, pressure: float, more: float) -> None:
    """V0 when empty, half of the growth at p_half, all of it never; ever less growth per pressure."""
    assert bladder_volume(cuff, 0.0) == cuff.volume_mL
    half = bladder_volume(cuff, cuff.half_growth_mmHg)
    assert half == pytest.approx(cuff.volume_mL + 0.5 * cuff.growth_mL, rel=1e-12)
    assert bladder_volume(cuff, pressure) <= bladder_volume(cuff, pressure + more)
    assert bladder_volume(cuff, pressure + more) <= cuff.volume_mL + cuff.growth_mL
    assert bladder_growth(cuff, pressure) >= bladder_growth(cuff, pressure + more) >= 0.0


@few
@given(cuffs, airs, st.floats(-30, 400), line_mL, st.floats(0, 100))
def test_sealed_cuff_holds_and_a_leaking_one_falls(
    cuff: Cuff, air: Air, pressure: float, line: float, inflow: float
) -> None:
    """No flow, no change; a leak lets pressure fall towards ambient from either side; inflow raises it."""
    sealed = cuff._replace(leak_mL_s_mmHg=0.0)
    rest = content_at_rest(cuff, air, pressure, line)
    rounding = 1e-9 * max(1.0, wall_exchange_per_s(cuff))  # of heat to the walls, where all is as warm as they
    assert cuff_rate(sealed, air, pressure, rest, 0.0, line) == pytest.approx(0.0, abs=rounding)
    falling = cuff_rate(cuff, air, pressure, rest, 0.0, line)
    assert falling * np.sign(pressure) <= rounding
    assert cuff_rate(sealed, air, pressure, rest, inflow, line) >= -rounding
    held = cuff.leak_mL_s_mmHg * pressure
    assert cuff_rate(cuff, air, pressure, rest, held, line) == pytest.approx(0.0, abs=rounding)
    assert content_rate(cuff, pressure, held) == 0.0 and content_rate(sealed, pressure, inflow) == inflow


@few
@given(cuffs, airs, st.floats(-30, 400), line_mL, st.floats(-100, 100))
def test_isothermal_air_is_conserved(cuff: Cuff, air: Air, pressure: float, line: float, inflow: float) -> None:
    """d(p_abs V)/dt = p_ref (T/T0) q for n = 1: the air in bladder and line end is what came in (ideal gas)."""
    isothermal, cuff = air._replace(polytropic_exponent=1.0), cuff._replace(gap_mm=0.0)
    step = 1e-3

    def content(p: float) -> float:
        return (p + air.atmosphere_mmHg) * (bladder_volume(cuff, p) + line)

    per_pressure = (content(pressure + step) - content(pressure - step)) / (2.0 * step)
    rate = cuff_rate(cuff, isothermal, pressure, 0.0, inflow, line)
    net = inflow - cuff.leak_mL_s_mmHg * pressure
    assert per_pressure * rate == pytest.approx(expansion(air) * net, rel=1e-4, abs=1e-6)


@few
@given(cuffs, airs, pressures, line_mL)
def test_more_volume_answers_more_slowly(cuff: Cuff, air: Air, pressure: float, line: float) -> None:
    """Air of the line, or a larger bladder, slows the cuff down."""
    held = cuff.leak_mL_s_mmHg * pressure

    def answer(bladder: Cuff, end: float) -> float:
        rest = content_at_rest(bladder, air, pressure, end)
        return cuff_rate(bladder, air, pressure, rest, held + 1.0, end)

    larger = cuff._replace(volume_mL=2.0 * cuff.volume_mL)
    assert 0.0 < answer(larger, line) < answer(cuff, line)
    assert 0.0 < answer(cuff, line + 1.0) < answer(cuff, line)


@few
@given(cuffs, airs, st.floats(0.1, 400), line_mL)
def test_twin_is_the_slope_of_the_compiled_function(cuff: Cuff, air: Air, pressure: float, line: float) -> None:
    """A and B by central differences about the inflow that feeds the leak and the content at rest."""
    twin = linear_twin(cuff, air, pressure, line)
    rest = np.array([pressure, content_at_rest(cuff, air, pressure, line), cuff.leak_mL_s_mmHg * pressure])

    def model(x: np.ndarray) -> np.ndarray:
        return np.array([cuff_rate(cuff, air, x[0], x[1], x[2], line), content_rate(cuff, x[0], x[2])])

    count = len(twin.a)  # without a gap the content is no state
    assert count == (2 if cuff.gap_mm > 0.0 else 1)
    ours = np.hstack([twin.a, np.zeros((count, 2 - count)), twin.b])
    for i, step in enumerate((1e-3, 1e-4 * rest[1], 1e-2)):
        move = step * np.eye(3)[i]
        numeric = ((model(rest + move) - model(rest - move)) / (2.0 * step))[:count]
        np.testing.assert_allclose(ours[:, i], numeric, rtol=1e-4, atol=1e-9 * (1.0 + np.max(np.abs(ours[:, i]))))
    np.testing.assert_array_equal(np.hstack([twin.c, twin.d]), [[1.0, 0.0, 0.0][: count + 1]])
    assert (twin.inputs, twin.outputs) == (("line_flow",), ("cuff_pressure",))


@few
@given(cuffs, airs, pressures, line_mL, st.floats(0.05, 20))
def test_a_gap_is_isothermal_when_slow_and_adiabatic_when_fast(
    cuff: Cuff, air: Air, pressure: float, line: float, gap: float
) -> None:
    """n(ω) = (1 + jωγτ)/(1 + jωτ) of a rigid bladder behind its walls; no gap: the air's own exponent throughout."""
    rigid = cuff._replace(growth_mL=0.0, leak_mL_s_mmHg=0.0, gap_mm=gap)
    corner = wall_exchange_per_s(rigid)
    omega = corner * np.array([1e-3, 0.3, 1.0, 3.0, 1e3])
    seen = linear_twin(rigid, air, pressure, line).response("cuff_pressure", "line_flow", omega)
    exponent = seen * 1j * omega * (rigid.volume_mL + line) / expansion(air)
    wanted = (1.0 + 1j * GAMMA * omega / corner) / (1.0 + 1j * omega / corner)
    np.testing.assert_allclose(exponent, wanted, rtol=1e-6)
    none = rigid._replace(gap_mm=0.0)
    assert wall_exchange_per_s(none) == 0.0
    plain = linear_twin(none, air, pressure, line).response("cuff_pressure", "line_flow", omega)
    per_volume = plain * 1j * omega * (none.volume_mL + line) / expansion(air)
    np.testing.assert_allclose(per_volume, air.polytropic_exponent, rtol=1e-9)
