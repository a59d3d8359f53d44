"""Speed, as ratios within one run: the kernel beside hand-written C, SciPy and python-control; margins beside the last.

`pytest tests/benchmarks --benchmark-only` prints the tables and, at the end, the ratios. What is asserted is lax on
purpose, so that a busy machine fails nothing; the figures to judge are the printed ones.
"""
import math
import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
import pytest
from numba import njit
from numpy.typing import NDArray

from controller.margins.loop import build_loop, open_loop
from controller.margins.margins import margins_many
from controller.margins.sampled import augmented
from controller.tick.firmware import CLAMP, Order, firmware_tick
from controller.tick.law import controller_linear, design
from experiments.rigs.rig import load_rig
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.lanes import Lanes
from plant.assembly import Plant, PlantState, Surroundings, plant_rates
from plant.finger.segment import SegmentState
from plant.operating_point import clamp_point
from plant.pneumatics.flow_valve import SpoolState
from plant.pneumatics.tube import LineState

Samples = NDArray[np.float64]
CUFF = CHANNELS.index("cuff_mmHg")
TOLERANCE = {"rtol": 1e-6, "atol": 1e-9}


class Comparison(NamedTuple):
    """Times two functions in turns, one of them by pytest-benchmark; notes what is found for the end of the run."""

    benchmark: Any
    record: Callable[[str, object], None]

    def ratio(self, timed: Callable[[], object], other: Callable[[], object], rounds: int, others: int) -> float:
        """Median time of `timed` over that of `other`, after a warm-up of both; `others` of the rounds run both."""
        mine: list[float] = []
        its: list[float] = []

        def clock(run: Callable[[], object], into: list[float]) -> None:
            start = time.thread_time()  # of this thread alone: others may want the processor meanwhile
            run()
            into.append(time.thread_time() - start)

        def turn() -> None:
            if len(its) < others:
                clock(other, its)

        timed()
        other()
        self.benchmark.pedantic(clock, args=(timed, mine), setup=turn, rounds=rounds)
        return statistics.median(mine) / statistics.median(its)

    def note(self, label: str, value: float) -> None:
        """Keep a figure with the benchmark and for the summary."""
        self.benchmark.extra_info[label] = value
        self.record("ratio", f"{label}: {value:.3g}")


@pytest.fixture
def compare(benchmark: Any, record_property: Callable[[str, object], None]) -> Comparison:
    """Compares two functions on this test's benchmark."""
    return Comparison(benchmark, record_property)


# --- the kernel beside C ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["kernel", "C"])
@pytest.mark.benchmark(group="coupled loop of the default rig, 60 s at 1 kHz", timer=time.thread_time)
def test_kernel_beside_c(compare: Comparison, make_case: Callable[..., Any], c_loop: Any, who: str) -> None:
    """The same 60 000 ticks, in turns; the bar is 1.15."""
    case = make_case(60.0)
    in_c = c_loop.prepare(case)
    timed, other = (case.run, in_c) if who == "kernel" else (in_c, case.run)
    ratio = compare.ratio(timed, other, 15, 15)
    compare.note("kernel over hand-written C (gcc -O3 -march=native)", ratio if who == "kernel" else 1.0 / ratio)
    assert 1.0 / 3.0 < ratio < 3.0


@pytest.mark.benchmark(group="segment of artery and heat of the air, 60 s at 1 kHz", timer=time.thread_time)
def test_cost_of_segment_and_heat(
    compare: Comparison, make_case: Callable[..., Any], c_loop: Any, c_loop_lumped: Any
) -> None:
    """Hand-written C with their four states beside the same without them, the same ticks in turns; the bar is 1.3."""
    case = make_case(60.0)
    ratio = compare.ratio(c_loop.prepare(case), c_loop_lumped.prepare(case), 15, 15)
    compare.note("a tick with segment and heat over one without, both in C", ratio)
    assert ratio < 2.0


# --- many fingers beside C --------------------------------------------------------------------------------------------

FINGERS, BLOCK = 64, 250


def side_by_side(case: Any) -> Lanes:
    """FINGERS fingers on the case's rig, each a little different, with noise of its own."""
    random = np.random.default_rng(4)
    plants = [
        case.loop.plant._replace(
            artery=case.loop.plant.artery._replace(half_width_mmHg=random.uniform(12.0, 18.0)),
            vein=case.loop.plant.vein._replace(emptying_s=random.uniform(1.0, 2.0)),
        )
        for _ in range(FINGERS)
    ]
    return Lanes([case.loop._replace(plant=plant) for plant in plants], range(FINGERS), [case.start] * FINGERS)


@pytest.mark.parametrize("substeps", [4, 5, 12])
@pytest.mark.benchmark(group="many fingers, 10 s at 1 kHz", timer=time.thread_time)
def test_many_fingers_beside_c(compare: Comparison, make_case: Callable[..., Any], c_loop: Any, substeps: int) -> None:
    """One finger in C beside FINGERS of them side by side on one core, in blocks of BLOCK ticks; the bar is 5."""
    case = make_case(10.0)
    case = case._replace(loop=case.loop._replace(clock=case.loop.clock._replace(substeps=float(substeps))))
    ticks = len(case.orders.mode)

    def many() -> None:
        lanes = side_by_side(case)
        for first in range(0, ticks, BLOCK):
            inputs, orders = case.inputs.part(first, first + BLOCK), case.orders.part(first, first + BLOCK)
            lanes.run(BLOCK, **{name: value[:, None] for name, value in (inputs._asdict() | orders._asdict()).items()})
        assert np.all(lanes.done == ticks)

    ratio = compare.ratio(many, c_loop.prepare(case), 9, 9) / FINGERS
    compare.note(f"hand-written C over many fingers, a finger and tick, {substeps} steps a tick", 1.0 / ratio)
    assert ratio < 0.5


@pytest.mark.benchmark(group="many fingers, 1 s at 1 kHz, on one worker and on two", timer=time.perf_counter)
def test_two_workers_beside_one(benchmark: Any, make_case: Callable[..., Any], compare: Comparison) -> None:
    """The best of several turns by the clock on the wall; the bar is 1.8 where two processors are free."""
    case = make_case(10.0)
    best = {1: math.inf, 2: math.inf}

    def turn(pool: ThreadPoolExecutor) -> None:
        for workers in best:
            lanes = side_by_side(case)
            start = time.perf_counter()
            for _ in range(4):
                lanes.run(BLOCK, pool if workers > 1 else None, workers, arterial_mmHg=90.0, fill_mmHg=80.0)
            best[workers] = min(best[workers], time.perf_counter() - start)

    with ThreadPoolExecutor(2) as pool:
        benchmark.pedantic(turn, args=(pool,), rounds=9, warmup_rounds=1)
    compare.note("many fingers on one worker over two", best[1] / best[2])
    assert best[2] < 2.0 * best[1]


# --- the kernel beside general solvers --------------------------------------------------------------------------------


@njit(error_model="numpy")
def flat_rates(
    t: float, y: Samples, plant: Plant, arterial: float, per_s: float, tone: float, ambient: float, command: float
) -> Samples:
    """The plant's own rates for a solver that takes arrays; `t` counts from the tick."""
    axial = SegmentState(y[8], y[9], y[10])
    state = PlantState(
        y[0], SpoolState(y[1], y[2]), LineState((y[3],), (y[4],)), y[5], y[6], y[7], axial, y[11], y[12], y[13], y[14])
    rate = plant_rates(plant, state, Surroundings(arterial + per_s * t, tone, ambient), command)
    return np.array([
        rate.supply_mmHg, rate.valve.position, rate.valve.velocity, rate.line.pressures_mmHg[0],
        rate.line.flows_mL_s[0], rate.cuff_mmHg, rate.cuff_mL, rate.external_mmHg, rate.segment.edge_mmHg,
        rate.segment.flow_per_s, rate.segment.middle_mmHg, rate.creep_area, rate.venous_volume, rate.photodiode,
        rate.reading_mmHg,
    ])


def stepped_loop(case: Any, over_a_tick: Callable[..., Samples]) -> Samples:
    """The loop with a general solver between ticks: cuff pressure at each tick, shape (ticks,)."""
    inputs, orders, period = case.inputs, case.orders, case.loop.clock.period_s
    y, control = case.flat_start(), case.start.firmware
    held = control.command  # a dead time of one tick
    cuff = np.empty(len(orders.mode))
    for k in range(len(cuff)):
        cuff[k] = y[5]
        order = Order(int(orders.mode[k]), orders.fill_mmHg[k], orders.set_point[k], orders.light_slope[k])
        control, command, _, _ = firmware_tick(case.loop.firmware, control, order, min(y[13], 1.0), y[14])
        per_s = (inputs.arterial_mmHg[k + 1] - inputs.arterial_mmHg[k]) / period
        y = over_a_tick(y, inputs.arterial_mmHg[k], per_s, inputs.tone[k], inputs.ambient[k], held)
        held = command
    return cuff


def scipy_tick(case: Any) -> Callable[..., Samples]:
    """One tick by solve_ivp, which the plant's compiled rates serve."""
    from scipy.integrate import solve_ivp

    def over_a_tick(y: Samples, *around: float) -> Samples:
        found = solve_ivp(flat_rates, (0.0, case.loop.clock.period_s), y, args=(case.loop.plant, *around), **TOLERANCE)
        return np.asarray(found.y[:, -1])

    return over_a_tick


def control_tick(case: Any) -> Callable[..., Samples]:
    """One tick by python-control's simulation of a nonlinear system with the plant's compiled rates."""
    import control

    period = case.loop.clock.period_s

    def update(t: float, x: Samples, u: Samples, params: dict[str, float]) -> Samples:
        return flat_rates(t, x, case.loop.plant, u[0], 0.0, u[1], u[2], u[3])

    system = control.nlsys(update, None, inputs=4, outputs=15, states=15, name="plant")

    def over_a_tick(y: Samples, arterial: float, per_s: float, *held: float) -> Samples:
        ends = np.array([[arterial, arterial + per_s * period], *([h, h] for h in held)])
        found = control.input_output_response(system, [0.0, period], ends, y, solve_ivp_kwargs=TOLERANCE)
        return np.asarray(found.states[:, -1])

    return over_a_tick


@pytest.mark.parametrize("make_tick", [scipy_tick, control_tick], ids=["solve_ivp", "python-control"])
@pytest.mark.benchmark(group="coupled loop, 0.2 s of clamp: kernel beside general solvers", timer=time.thread_time)
def test_kernel_beside_general_solvers(
    compare: Comparison, make_case: Callable[..., Any], make_tick: Callable[..., Any], request: pytest.FixtureRequest
) -> None:
    """The same loop, solved tick by tick to 1e-6 with the same compiled rates: the same pressures, far slower."""
    case = make_case(8.0, "light.noise=0.0", "transducer.noise_mmHg=0.0").part(6000, 6200)
    over_a_tick, found = make_tick(case), []
    ratio = compare.ratio(case.run, lambda: found.append(stepped_loop(case, over_a_tick)), 15, 1)
    compare.note(f"{request.node.callspec.id} over kernel", 1.0 / ratio)
    ours = case.run()[:, CUFF]
    assert found[-1] == pytest.approx(ours, abs=1e-3)  # our steps over the dead band's corner cost the last digits
    assert np.all(case.orders.mode == CLAMP) and np.ptp(ours) > 5.0
    assert ratio < 0.05


# --- margins ----------------------------------------------------------------------------------------------------------

SETS, CALLS = 10_000, 20


@pytest.mark.benchmark(group=f"margins of {SETS} gain sets", timer=time.thread_time)
def test_many_margins_beside_python_control(compare: Comparison) -> None:
    """Gain, phase and modulus margin of the wrist loop under random gains: as python-control's, to 1e-6.

    Its default method takes the crossings from roots of polynomials, and in a loop of this order some of those are
    not there. It is given the loop's response on a grid just fine enough for six digits; the default is timed as well.
    """
    import control

    rig = load_rig("wrist")
    period = rig.timing.period_s
    loop = build_loop(
        rig.plant, clamp_point(rig.plant, 90.0), "fill", rig.timing, rig.stage, design(rig.controller, period))
    gains = rig.controller
    sets = [
        design(gains._replace(kp=gains.kp * p, ti_s=gains.ti_s * i, td_s=gains.td_s * d), period)
        for p, i, d in np.random.default_rng(3).uniform(0.6, 1.3, (SETS, 3))
    ]
    rows, cut_open = np.array(sets), open_loop(loop)
    a, b, c = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    plant = control.ss(a, b[:, None], c[None, :], 0.0, period)
    loops = [plant * control.ss(*controller_linear(one), period) for one in sets[:CALLS]]
    grid = np.geomspace(1.0, math.pi / period * (1.0 - 1e-6), 200)
    seen: list[Any] = []

    def six_digits() -> None:
        seen[:] = [control.stability_margins(control.frd(one, grid, smooth=True))[:3] for one in loops]

    def as_it_comes() -> None:
        for one in loops:
            control.stability_margins(one)

    ratio = compare.ratio(lambda: margins_many(cut_open, rows), six_digits, 3, 3)
    compare.note("python-control's stability_margins over margins_many, a gain set", SETS / CALLS / ratio)
    start = time.thread_time()
    as_it_comes()
    default_s = time.thread_time() - start
    start = time.thread_time()
    ours = margins_many(cut_open, rows)
    default_ratio = (default_s / CALLS) / ((time.thread_time() - start) / SETS)
    compare.note("the same by its default method, whose numbers are off", default_ratio)
    assert np.all(ours.stable) and np.all(ours.resolved)
    theirs, first = np.array(seen), slice(CALLS)
    assert ours.gain_margin[first] == pytest.approx(theirs[:, 0], rel=1e-6)
    assert ours.phase_margin_deg[first] == pytest.approx(theirs[:, 1], rel=1e-6)
    assert ours.modulus_margin[first] == pytest.approx(theirs[:, 2], rel=1e-6)
    assert SETS / CALLS / ratio > 20.0
