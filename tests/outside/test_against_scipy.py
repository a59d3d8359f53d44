"""The coupled simulation against SciPy's DOP853 (Dormand & Prince; Hairer, Nørsett & Wanner), rig by random rig.

The loop is closed here once more, without the kernel: sample, firmware, delay line, play, then `solve_ivp` on the
plant's rates from tick to tick, restarted where the command changes inside a tick. Only the physics (`plant_rates`) and
the firmware's step are the tool's own. Rigs of one class go through SciPy side by side, as one system whose time is the
share of the piece done. The Runge–Kutta substeps are those that the tool chooses. Source: mathematics, [computed].
"""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numba import njit
from scipy.integrate import solve_ivp

from controller.firmware import CLAMP, FILL, VENT, Filling, Firmware, FirmwareState, Order, firmware_tick
from controller.inverse import Direct, FlowInverse
from controller.law import Controller, design, initial_control
from controller.loop import build_loop, loop_margins, sides
from controller.margins import Margins
from controller.timing import Timing
from experiments.rig import Rig, load_rig
from experiments.simulate import Plan, Run, simulate
from plant.air import Air
from plant.artery import Artery
from plant.assembly import Plant, PlantState, Surroundings, initial_state, plant_rates
from plant.cuff import Cuff
from plant.errors import InputError
from plant.flow_valve import FlowValve
from plant.light import Light
from plant.noise import JITTER, MISSED, uniform
from plant.operating_point import clamp_point
from plant.pressure_record import PressureTrace
from plant.pressure_valve import PressureValve
from plant.supply import Supply
from plant.tissue import Tissue
from plant.tone import ToneDrive
from plant.transducer import Transducer
from plant.tube import NoTube, Tube
from plant.vein import Vein

TICKS = 1000
ALLOWED_mmHg = 0.01
# (valve, sections of the tube, flow inverse, rigs): each row is one more compilation of the kernel
CLASSES = (
    ("flow", 0, False, 10), ("flow", 1, True, 10), ("flow", 3, True, 9), ("pressure", 0, False, 9),
    ("pressure", 2, False, 8), ("pressure", 8, False, 8),
)


# --- random rigs ---------------------------------------------------------------------------------------------------


def draw_plant(random: np.random.Generator, valve_kind: str, sections: int, period_s: float) -> Plant:
    """A plant anywhere within what such an instrument could be built of; noise and converters off."""
    between, decade = random.uniform, lambda low, high: float(np.exp(random.uniform(np.log(low), np.log(high))))

    def maybe(value: float) -> float:
        return value if random.uniform() < 0.5 else 0.0

    valve: FlowValve | PressureValve = FlowValve(
        natural_frequency_Hz=decade(40, 300), damping_ratio=between(0.4, 1.2), slew_per_s=decade(30, 1000),
        dead_band=maybe(between(0, 0.06)), hysteresis=maybe(between(0, 0.02)), conductance=decade(0.01, 0.1),
        critical_ratio=between(0.2, 0.5), bleed_conductance=maybe(between(0.0002, 0.003)),
    )
    if valve_kind == "pressure":
        valve = PressureValve(
            natural_frequency_Hz=decade(30, 200), damping_ratio=between(0.5, 1.2), range_mmHg=between(200, 400),
            slew_mmHg_s=decade(5e3, 1e5), hysteresis=maybe(between(0, 0.01)),
            outlet_resistance_mmHg_s_mL=decade(0.3, 3.0), flow_limit_mL_s=between(30, 200),
        )
    tube: Tube | NoTube = NoTube()
    if sections:
        tube = Tube(length_m=max(0.03, 0.15 * sections * between(0.4, 1.0)), diameter_mm=between(1.2, 3.5),
                    sections=sections, valve_volume_mL=decade(0.05, 1.0), loss_factor=between(1, 4),
                    inertance_factor=between(1, 1.33))
    return Plant(
        Tissue(between(0.7, 1.0), decade(0.0003, 0.005)),
        Artery(unloaded_mmHg=between(-5, 20), half_width_mmHg=between(6, 30), fast_fraction=between(0.5, 1.0),
               creep_time_s=decade(0.05, 5)),
        Vein(emptying_s=decade(0.05, 0.5), filling_s=decade(0.1, 2)),
        Light(transmission=between(0.2, 0.9), arterial_path_cm=between(0.02, 0.1), bandwidth_Hz=decade(100, 1000),
              venous_path_cm=between(0, 0.02),
              ambient=between(0, 0.1), flicker=maybe(between(0, 0.002)), noise=0.0, bits=0),
        valve,
        Supply(pressure_mmHg=between(450, 900), volume_mL=decade(30, 2000), pump_flow_mL_s=between(40, 300)),
        Air(between(560, 780), between(283, 308), between(1.0, 1.4), between(0.98, 0.999)),
        tube,
        Cuff(decade(0.8, 10), between(0, 2), between(30, 200), maybe(decade(1e-5, 5e-3))),
        Transducer(at_valve_end=bool(random.integers(2)), bandwidth_Hz=decade(80, 1000), gain=between(0.97, 1.03),
                   offset_mmHg=between(-3, 3), drift_mmHg_h=between(-20, 20), noise_mmHg=0.0, full_scale_mmHg=400.0,
                   bits=0),
    )


def draw_timing(random: np.random.Generator) -> Timing:
    """A tick of 1 to 2 ms; dead time of whole ticks, or any share; now and then jitter and missed ticks."""
    period = float(random.uniform(0.001, 0.002))
    ticks = float(random.integers(0, 3)) if random.uniform() < 0.3 else float(random.uniform(0, 3))
    jitter = (1.0 - ticks % 1.0) * random.uniform(0, 0.9) if random.uniform() < 0.3 else 0.0
    return Timing(period, ticks * period, jitter * period, 0.05 if random.uniform() < 0.2 else 0.0)


def draw_controller(random: np.random.Generator, low: float, turn_s: float) -> Controller:
    """A PI or PID of unit gain for a loop that turns over 2π `turn_s` a period, here and there with more blocks."""
    between = random.uniform
    controller = Controller(
        kp=1.0, ti_s=between(3, 12) * turn_s, td_s=between(0.0, 0.4) * turn_s, filter_ratio=between(4, 12),
        method=("tustin", "backward_euler", "matched")[random.integers(3)], output_low=low, output_bits=0,
    )
    if random.uniform() < 0.3:
        controller = controller._replace(lead_zero_Hz=between(60, 120), lead_pole_Hz=between(150, 240))
    if random.uniform() < 0.3:
        controller = controller._replace(notch_Hz=between(80, 200), notch_width_Hz=30.0)
    return controller._replace(slew_per_s=between(50, 300) if random.uniform() < 0.3 else 0.0)


def draw_rig(random: np.random.Generator, valve_kind: str, sections: int, inverse: bool, mean_mmHg: float) -> Rig:
    """A random rig that can clamp at the mean pressure, its gain a random share of what makes it unstable."""
    timing = draw_timing(random)
    plant = draw_plant(random, valve_kind, sections, timing.period_s)
    low = -1.0 if valve_kind == "flow" else 0.0
    stage: Direct | FlowInverse = Direct(float(random.uniform(0.5, 2.0)))
    if inverse:
        # beliefs not quite true, but no dead band wider than the valve's: at rest the firmware would switch for ever
        wrong = random.uniform(0.9, 1.1), random.uniform(0.8, 1.0)
        stage = FlowInverse(random.uniform(10, 30), plant.supply.pressure_mmHg, plant.valve.conductance * wrong[0],
                            plant.valve.critical_ratio, plant.valve.dead_band * wrong[1], plant.valve.bleed_conductance,
                            plant.air.atmosphere_mmHg)
    tone = ToneDrive(level=random.uniform(-0.3, 0.5), wave=random.uniform(0, 0.2))
    point = clamp_point(plant, mean_mmHg, tone.level)

    def worst(controller: Controller) -> Margins:
        coefficients = design(controller, timing.period_s)
        found = [loop_margins(build_loop(plant, point, side, timing, stage, coefficients)) for side in sides(plant)]
        return min(found, key=lambda m: m.gain_margin)

    turn_s = 1.0 / (2.0 * math.pi * worst(Controller(kp=1e-5, ti_s=10.0)).gain_margin_Hz)
    controller = draw_controller(random, low, turn_s)
    found = worst(controller._replace(kp=1e-5))
    controller = controller._replace(kp=1e-5 * found.gain_margin / random.uniform(2.0, 6.0))
    found = worst(controller)
    if not (found.stable and found.modulus_margin > 0.3):
        raise InputError("not a loop that anybody would close")
    filling = Filling(controller.kp * random.uniform(0.2, 0.6), 0.0)
    if valve_kind == "pressure":
        filling = Filling(0.0, 1.0 / (plant.valve.range_mmHg * stage.gain))
    return load_rig("wrist")._replace(
        name="random", plant=plant, tone=tone, timing=timing, controller=controller, stage=stage, filling=filling
    )


def draw_trace(random: np.random.Generator, period_s: float, mean_mmHg: float) -> PressureTrace:
    """A pulse of two harmonics about a mean, with a sudden fall on the way."""
    time = np.arange(TICKS + 1) * period_s
    turn = 2.0 * np.pi * random.uniform(0.8, 3.0) * time
    pressure = mean_mmHg + 15.0 * np.sin(turn) + 8.0 * np.sin(2.0 * turn + random.uniform(0, 6))
    pressure = pressure - np.where(time > 0.7 * time[-1], random.uniform(0, 10), 0.0)
    return PressureTrace(pressure, period_s, np.ones(TICKS + 1, bool), "random", "test")


def draw_run(random: np.random.Generator, valve_kind: str, sections: int, inverse: bool, seed: int) -> Run:
    """A rig drawn until one can clamp, and the tool's run of it."""
    while True:
        mean = float(random.uniform(60, 120))
        try:
            rig = draw_rig(random, valve_kind, sections, inverse, mean)
        except InputError:
            continue
        period = rig.timing.period_s
        plan = Plan(0.4 * TICKS * period, 0.1 * TICKS * period, 0.1 * TICKS * period if seed % 3 == 0 else 0.0)
        return simulate(rig, draw_trace(random, period, mean), plan, seed)


# --- the reference --------------------------------------------------------------------------------------------------


def code_of(example: Any, classes: dict[str, Any], count: list[int]) -> str:
    """Source of the expression that makes nested tuples like `example` out of an array `values`."""
    if isinstance(example, tuple):
        inner = "".join(f"{code_of(element, classes, count)}, " for element in example)
        if not hasattr(example, "_fields"):
            return f"({inner})"
        classes[f"class_{len(classes)}"] = type(example)
        return f"class_{len(classes) - 1}({inner})"
    count[0] += 1
    item = f"values[{count[0] - 1}]"
    return {bool: f"({item} != 0.0)", int: f"int({item})"}.get(type(example), item)


def maker(example: Any) -> Callable[..., Any]:
    """Compiled: nested tuples like `example` from an array."""
    classes: dict[str, Any] = {}
    names = code_of(example, classes, [0])  # fills `classes` in the order of the labels
    exec(f"def make(values):\n    return {names}\n", classes)
    return njit(classes["make"])


def places(example: Any, path: str) -> list[str]:
    """Where each number of nested tuples is found."""
    if isinstance(example, tuple):
        return [place for i, element in enumerate(example) for place in places(element, f"{path}[{i}]")]
    return [path]


def pourer(example: Any) -> Callable[..., None]:
    """Compiled: the numbers of nested tuples like `example` into an array, times a factor."""
    scope: dict[str, Any] = {}
    lines = "".join(f"    out[{i}] = factor * {place}\n" for i, place in enumerate(places(example, "state")))
    exec(f"def pour(state, factor, out):\n{lines}", scope)
    return njit(scope["pour"])


def flat(example: Any) -> list[float]:
    """Every number of nested tuples."""
    return [x for element in example for x in flat(element)] if isinstance(example, tuple) else [float(example)]


def side_by_side(plant: Plant, state: PlantState) -> Callable[..., np.ndarray]:
    """Compiled right-hand side of many plants of one class; each has its own piece of time, mapped to 0 … 1."""
    make_plant, make_state, pour = maker(plant), maker(state), pourer(state)

    @njit(error_model="numpy")
    def rates(share, values, plants, pieces):
        out = np.empty(len(values))
        size = len(values) // len(plants)
        for i in range(len(plants)):
            first, length, before, after, tone, ambient, command, period_s = pieces[i]
            pressure = before + (first + share * length) * (after - before)
            rows = slice(i * size, (i + 1) * size)
            rate = plant_rates(make_plant(plants[i]), make_state(values[rows]),
                               Surroundings(pressure, tone, ambient), command)
            pour(rate, length * period_s, out[rows])
        return out

    return rates


def integrated(rates: Callable[..., np.ndarray], states: np.ndarray, plants: np.ndarray, pieces: np.ndarray
               ) -> np.ndarray:
    """All plants moved through their pieces by DOP853."""
    if not np.any(pieces[:, 1]):
        return states
    solved = solve_ivp(rates, (0.0, 1.0), states.ravel(), "DOP853", rtol=1e-10, atol=1e-11, args=(plants, pieces))
    assert solved.success
    return solved.y[:, -1].reshape(states.shape)


def mode_at(plan: Plan, tick: int, period_s: float) -> int:
    """The firmware's order by the plan."""
    if plan.vent_s > 0.0 and tick >= TICKS - round(plan.vent_s / period_s):
        return VENT
    return FILL if tick < round(plan.fill_s / period_s) else CLAMP


class Loop:
    """The firmware's side of one run: sampling, the step itself, the delay line and the valve's play."""

    def __init__(self, run: Run) -> None:
        self.run, self.timing = run, run.rig.timing
        self.firmware = Firmware(design(run.rig.controller, self.timing.period_s), run.rig.stage, run.rig.filling)
        self.memory = FirmwareState(initial_control(), 0.0, FILL)
        self.commands, self.played = [0.0] * 5, 0.0  # the valve rests at zero before the first command arrives
        ticks = self.timing.dead_time_s / self.timing.period_s
        self.whole = math.floor(ticks + 1e-9)
        self.share = max(ticks - self.whole, 0.0)

    def tick(self, k: int, photodiode: float, reading_mmHg: float) -> tuple[float, float, float]:
        """Commands in force before and after the change in this tick, and the share of the tick where it comes."""
        run, light, timing = self.run, self.run.rig.plant.light, self.timing
        ratio = light.flicker_Hz / light.bandwidth_Hz
        phase = 2.0 * math.pi * light.flicker_Hz * k * timing.period_s - math.atan(ratio)
        seen = min(max(photodiode + light.flicker / math.hypot(1.0, ratio) * math.sin(phase), 0.0), 1.0)
        drifted = reading_mmHg + run.rig.plant.transducer.drift_mmHg_h * k * timing.period_s / 3600.0
        order = Order(mode_at(run.plan, k, timing.period_s), run.point.state.cuff_mmHg, run.point.light,
                      run.point.light_slope)
        memory, command, _, _ = firmware_tick(self.firmware, self.memory, order, seen, min(max(drifted, -40.0), 400.0))
        if timing.missed_share > 0.0 and uniform(run.seed, MISSED, k) < timing.missed_share:
            command = self.commands[-1]
        else:
            self.memory = memory
        self.commands.append(command)
        half = 0.5 * run.rig.plant.valve.hysteresis
        arriving, before = self.commands[-1 - self.whole], self.played
        self.played = min(max(before, arriving - half), arriving + half)
        share = self.share
        if timing.jitter_s > 0.0:
            share += timing.jitter_s / timing.period_s * uniform(run.seed, JITTER, k)
        return before, self.played, share


def reference(runs: list[Run]) -> np.ndarray:
    """Cuff pressure [mmHg] of each run at each tick by SciPy, shape (runs, ticks)."""
    starts = [initial_state(r.rig.plant, Surroundings(r.trace.pressure_mmHg[0], r.tone[0], r.rig.plant.light.ambient))
              for r in runs]
    plants, states = (np.array([flat(x) for x in many]) for many in ([r.rig.plant for r in runs], starts))
    rates, loops = side_by_side(runs[0].rig.plant, starts[0]), [Loop(r) for r in runs]
    names = places(starts[0], "")
    cuff, eye, reading = (names.index(f"[{PlantState._fields.index(n)}]") for n in
                          ("cuff_mmHg", "photodiode", "reading_mmHg"))
    found = np.empty((len(runs), TICKS))
    for k in range(TICKS):
        found[:, k] = states[:, cuff]
        first, second = np.empty((len(runs), 8)), np.empty((len(runs), 8))
        for i, (run, loop) in enumerate(zip(runs, loops, strict=True)):
            old, new, share = loop.tick(k, states[i, eye], states[i, reading])
            pressure, ambient = run.trace.pressure_mmHg, run.rig.plant.light.ambient
            around = pressure[k], pressure[k + 1], run.tone[k], ambient
            first[i] = 0.0, share, *around, old, loop.timing.period_s
            second[i] = share, 1.0 - share, *around, new, loop.timing.period_s
        states = integrated(rates, integrated(rates, states, plants, first), plants, second)
    return found


# --- the study ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("valve_kind", "sections", "inverse", "count"), CLASSES)
def test_cuff_pressure_within_a_hundredth_of_a_mmHg(valve_kind: str, sections: int, inverse: bool, count: int) -> None:
    """At every tick of fill and clamp, and of vent for some; substeps as the tool chose them. DOP853 at rtol 1e-10."""
    random = np.random.default_rng([2, sections, valve_kind == "flow"])
    runs = [draw_run(random, valve_kind, sections, inverse, seed) for seed in range(1, count + 1)]
    exact = reference(runs)
    for run, wanted in zip(runs, exact, strict=True):
        off = np.max(np.abs(run.channels["cuff_mmHg"] - wanted))
        assert run.status != "diverged" and np.ptp(wanted) > 20.0
        assert off < ALLOWED_mmHg, f"{off:.4g} mmHg with {run.substeps} substeps: {run.rig}"
