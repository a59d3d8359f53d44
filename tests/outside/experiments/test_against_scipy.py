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

from controller.tick.firmware import CLAMP, FILL, VENT, Firmware, FirmwareState, Order, firmware_tick
from controller.tick.law import design, initial_control
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Plan, Run, simulate
from plant.assembly import Plant, PlantState, Surroundings, initial_state, plant_rates
from plant.numerics.noise import JITTER, MISSED, uniform
from plant.pressure.record import PressureTrace

TICKS = 1000
ALLOWED_mmHg = 0.01
# (valve, sections of the tube, flow inverse, rigs): each row is one more compilation of the kernel
CLASSES = (
    ("flow", 0, False, 10), pytest.param("flow", 1, True, 10, marks=pytest.mark.slow), ("flow", 3, True, 9),
    ("pressure", 0, False, 9), pytest.param("pressure", 2, False, 8, marks=pytest.mark.slow),
    pytest.param("pressure", 8, False, 8, marks=pytest.mark.slow),  # each of them compiles a plant of its own
)


# --- the runs under test --------------------------------------------------------------------------------------------


def draw_trace(random: np.random.Generator, period_s: float, mean_mmHg: float) -> PressureTrace:
    """A pulse of two harmonics about a mean, with a sudden fall on the way."""
    time = np.arange(TICKS + 1) * period_s
    turn = 2.0 * np.pi * random.uniform(0.8, 3.0) * time
    pressure = mean_mmHg + 15.0 * np.sin(turn) + 8.0 * np.sin(2.0 * turn + random.uniform(0, 6))
    pressure = pressure - np.where(time > 0.7 * time[-1], random.uniform(0, 10), 0.0)
    return PressureTrace(pressure, period_s, np.ones(TICKS + 1, bool), "random", "test")


def tools_run(random: np.random.Generator, rig: Rig, mean_mmHg: float, seed: int) -> Run:
    """The tool's run of a rig: fill, clamp, and for every third seed vent."""
    period = rig.timing.period_s
    plan = Plan(0.4 * TICKS * period, 0.1 * TICKS * period, 0.1 * TICKS * period if seed % 3 == 0 else 0.0)
    return simulate(rig, draw_trace(random, period, mean_mmHg), plan, seed)


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
def test_cuff_pressure_within_a_hundredth_of_a_mmHg(
    random_rig: Callable[..., tuple[Rig, float]], valve_kind: str, sections: int, inverse: bool, count: int
) -> None:
    """At every tick of fill and clamp, and of vent for some; substeps as the tool chose them. DOP853 at rtol 1e-10."""
    random = np.random.default_rng([2, sections, valve_kind == "flow"])
    runs = [tools_run(random, *random_rig(random, valve_kind, sections, inverse), seed) for seed in range(count)]
    exact = reference(runs)
    for run, wanted in zip(runs, exact, strict=True):
        off = np.max(np.abs(run.channels["cuff_mmHg"] - wanted))
        assert run.status != "diverged" and np.ptp(wanted) > 20.0
        assert off < ALLOWED_mmHg, f"{off:.4g} mmHg with {run.substeps} substeps: {run.rig}"
