"""Margins told by the linear loop against the nonlinear simulation that is pushed until it just oscillates.

Nothing here is a saved number: the simulated plant knows no margins, and the margins know no simulation.
python-control, which builds the same loops its own way from the same twins, has the second word.
"""
import math
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from controller.margins.loop import Loop, build_loop, closed_loop_poles, exact_delay_margin, loop_margins, sides
from controller.tick.law import Controller, design
from experiments.rigs.rig import Rig
from experiments.simulation.steady_state import perturbed
from experiments.simulation.steps import steps_a_tick
from plant.operating_point import OperatingPoint, clamp_point, plant_twin

PERTURBATION_mmHg = 1e-4  # small enough for every curve to be its tangent
PERIODS = 30  # of the crossover, at least, in a run of nine spans
# valve, tube sections (0: none), flow inverse; every one rests where its valve's gain is smooth (bleed or leak)
KINDS = (("flow", 0, False), ("flow", 3, True), ("pressure", 0, False))
RARER = (("flow", 1, True), ("pressure", 8, False))  # each compiles a plant of its own
EACH = 5
every_kind = pytest.mark.parametrize(
    "kind", [*KINDS, *(pytest.param(kind, marks=pytest.mark.slow) for kind in RARER)],
    ids=lambda k: f"{k[0]}-{k[1]}{'-inverse' if k[2] else ''}")


def growth(rig: Rig, point: OperatingPoint, gain: float, added_s: float, steps: int, span: int) -> float:
    """Growth rate per tick of the error's oscillation at a gain factor and an added dead time; below 0 it dies out.

    From its size in the fourth and fifth spans (of ticks) to that in the eighth and ninth.
    """
    timing = rig.timing._replace(dead_time_s=rig.timing.dead_time_s + added_s)
    controller = rig.controller._replace(kp=rig.controller.kp * gain)
    pushed = rig._replace(timing=timing, controller=controller)
    coefficients = design(controller, timing.period_s)
    error = perturbed(pushed, point, coefficients, 9 * span, PERTURBATION_mmHg, 1, steps)["error_mmHg"]
    if len(error) < 9 * span or np.max(np.abs(error)) > 500 * PERTURBATION_mmHg:
        return 1.0
    wiggle = np.diff(error, 2)  # the oscillation without the slow return of wall and veins
    early, late = (math.sqrt(float(np.mean(wiggle[a : a + 2 * span] ** 2))) for a in (3 * span, 7 * span))
    if early < 1e-6 * float(np.max(np.abs(wiggle))):
        return -1.0
    return math.log(max(late, 1e-300) / early) / (4 * span)


def boundary(rate: Callable[[float], float], low: float, high: float) -> float:
    """Where a rate changes sign, to 0.05 %."""
    while high - low > 5e-4 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if rate(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


@pytest.mark.parametrize("index", range(EACH))
@every_kind
def test_simulation_oscillates_where_the_margins_say(random_rig, kind, index) -> None:
    """Gain margin within 3 %, delay margin within 2 %, on random rigs whose twin is smooth at the operating point.

    The definition of both margins (Åström & Murray; any textbook): the factor, and the dead time, at which the loop
    just oscillates.
    """
    valve, sections, inverse = kind
    random = np.random.default_rng([index, sections, valve == "flow"])
    rig, mean_mmHg = random_rig(random, valve, sections, inverse, True, (1.8, 3.5))
    point = clamp_point(rig.plant, mean_mmHg, rig.tone.level)
    assert point.smooth
    steps, period = steps_a_tick(rig, point), rig.timing.period_s
    loop = build_loop(rig.plant, point, "fill", rig.timing, rig.stage, design(rig.controller, period))
    found = loop_margins(loop)
    assert found.stable and abs(closed_loop_poles(loop)[0]) < 1.0
    assert np.max(np.abs(perturbed(rig, point, loop.coefficients, 200, 0.0, 1, steps)["error_mmHg"])) < 1e-9

    span = max(200, math.ceil(PERIODS / 9.0 / (found.crossover_Hz * period)))

    gain = 1.0
    while growth(rig, point, 1.1 * gain, 0.0, steps, span) < 0.0:
        gain *= 1.1
    gain = boundary(lambda factor: growth(rig, point, factor, 0.0, steps, span), gain, 1.1 * gain)
    assert gain == pytest.approx(found.gain_margin, rel=0.03)

    delay = exact_delay_margin(loop, found.delay_margin_s)
    coarse = max(0.5 * period, 0.05 * delay)  # a coarse search that knows the answer's size, not the answer
    added = 0.0
    while growth(rig, point, 1.0, added + coarse, steps, span) < 0.0:
        added += coarse
        assert added < 3.0 * delay
    added = boundary(lambda extra: growth(rig, point, 1.0, extra, steps, span), added, added + coarse)
    assert added == pytest.approx(delay, rel=0.02)


# --- python-control -------------------------------------------------------------------------------------------------


def controls_controller(controller: Controller, period_s: float) -> Any:
    """The law from its continuous form, each block sampled by python-control: Kp (1 + 1/(Ti s) + Td s/(1 + s Td/N)),
    lead, notch."""
    import control

    s, c = control.tf("s"), controller
    blocks = [c.kp * (1.0 + 1.0 / (c.ti_s * s)) + c.kp * c.td_s * s / (1.0 + s * c.td_s / c.filter_ratio)]
    if c.lead_zero_Hz > 0.0:
        blocks.append((1.0 + s / (2.0 * math.pi * c.lead_zero_Hz)) / (1.0 + s / (2.0 * math.pi * c.lead_pole_Hz)))
    if c.notch_Hz > 0.0:
        centre, wide = 2.0 * math.pi * c.notch_Hz, 2.0 * math.pi * c.notch_width_Hz
        deep = wide * 10.0 ** (-c.notch_depth_dB / 20.0)
        blocks.append((s**2 + deep * s + centre**2) / (s**2 + wide * s + centre**2))
    method = {"tustin": "bilinear", "backward_euler": "backward_diff"}[c.method]
    whole = control.ss([], [], [], [[1.0]], period_s)
    for block in blocks:
        whole = whole * control.sample_system(control.ss(block), period_s, method)
    return whole


def controls_loop(rig: Rig, loop: Loop) -> Any:
    """The loop as python-control builds it: zero-order hold, whole ticks of delay, feedback of the stage, law."""
    import control

    period, ticks = rig.timing.period_s, round(rig.timing.dead_time_s / rig.timing.period_s)
    plant = control.sample_system(plant_twin(loop.plant, loop.point, loop.side).as_control(), period, "zoh")
    plant = plant[["light", "reading"], "command"]
    if ticks:
        plant = plant * control.ss(control.tf([1.0], [1.0] + [0.0] * ticks, period))
    plant = control.feedback(plant, control.ss([], [], [], [[0.0, loop.by_reading]], period), sign=1)
    return plant[0, 0] * (loop.by_demand / loop.light_slope) * controls_controller(rig.controller, period)


@every_kind
def test_python_control_agrees_on_random_rigs(random_rig, kind) -> None:
    """Gain, phase and modulus margins to 1e-6 on both sides, dead time in whole ticks, Tustin and backward Euler.

    python-control evaluates its state space on a fine grid, finest about the margins, and searches that: as
    polynomials, which it would use by itself, a tube's loop loses its digits. At gains below and above the margin its
    closed-loop poles outside the unit circle are counted.
    """
    import control

    valve, sections, inverse = kind
    random = np.random.default_rng([7, sections, valve == "flow"])
    for _ in range(EACH):
        rig, mean_mmHg = random_rig(random, valve, sections, inverse, True, (1.8, 3.5))
        period = rig.timing.period_s
        rig = rig._replace(
            timing=rig.timing._replace(dead_time_s=round(rig.timing.dead_time_s / period) * period),
            controller=rig.controller._replace(  # matched poles are not among what python-control offers a state space
                method="tustin" if rig.controller.method == "tustin" else "backward_euler"),
        )
        point = clamp_point(rig.plant, mean_mmHg, rig.tone.level)
        for side in sides(rig.plant):
            loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, design(rig.controller, period))
            ours, theirs = loop_margins(loop), controls_loop(rig, loop)
            assert ours.resolved
            at = (ours.gain_margin_Hz, ours.crossover_Hz, ours.modulus_margin_Hz)
            near = [2.0 * math.pi * f * np.linspace(0.98, 1.02, 41) for f in at if math.isfinite(f)]
            omega = np.unique(np.concatenate([np.geomspace(1.0, 0.999 * math.pi / period, 1500), *near]))
            omega = omega[omega < math.pi / period]
            values = theirs(np.exp(1j * omega * period))
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                gains, phases, moduli, *_ = control.stability_margins(
                    control.frd(values, omega, smooth=True), returnall=True)
            assert np.min(gains[gains > 1.0]) == pytest.approx(ours.gain_margin, rel=1e-6)
            assert phases[np.argmin(np.abs(phases))] == pytest.approx(ours.phase_margin_deg, rel=1e-6)
            assert np.min(moduli) == pytest.approx(ours.modulus_margin, rel=1e-6)
            for factor in (0.5, 0.98, 1.02, 2.0):
                gain = factor * ours.gain_margin
                controller = rig.controller._replace(kp=gain * rig.controller.kp)
                pushed = build_loop(rig.plant, point, side, rig.timing, rig.stage, design(controller, period))
                outside = np.sum(np.abs(control.feedback(gain * theirs, 1).poles()) > 1.0)
                assert loop_margins(pushed).unstable_closed_loop_poles == outside
                assert loop_margins(pushed).stable == (outside == 0)
                assert (abs(closed_loop_poles(pushed)[0]) < 1.0) == (outside == 0)
