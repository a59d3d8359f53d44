"""The yardsticks' common ground: the default rig's loop ready to run, by the kernel and by hand-written C."""
import ctypes
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from controller.tick.inverse import believed_air
from experiments.rigs.rig import load_rig
from experiments.simulation import simulate as simulation
from experiments.simulation.coupled import CHANNELS, ClosedLoop, Orders, RunState, run_ticks
from plant.assembly import Inputs
from plant.finger.artery import law_at, relative_area
from plant.finger.segment import segment_line
from plant.pneumatics.cuff import exponent, wall_exchange_per_s
from plant.pneumatics.tube import tube_end_volume, tube_inertance, tube_resistance
from plant.pressure.synthetic import SyntheticPressure, synthesise

SOURCE = Path(__file__).with_name("loop.c")
NO_STEPS = ["light.bits=0", "transducer.bits=0", "controller.output_bits=0"]  # a flipped bit would hide a comparison
STATES = 15
Samples = NDArray[np.float64]


class Case(NamedTuple):
    """All that one run of the kernel takes: the arguments of `run_ticks`, as `simulate` makes them."""

    loop: ClosedLoop
    seed: int
    inputs: Inputs
    orders: Orders
    start: RunState
    pending: Samples
    trace: Samples

    def run(self) -> Samples:
        """The kernel from the start of the case: its trace, shape (ticks, channels)."""
        run_ticks(*self._replace(pending=self.pending.copy()))
        return self.trace

    def flat_start(self) -> Samples:
        """The plant's state at the start as an array of STATES, in the order of `PlantState`."""
        start = self.start.plant
        return np.array([
            start.supply_mmHg, *start.valve, *start.line.pressures_mmHg, *start.line.flows_mL_s, start.cuff_mmHg,
            start.cuff_mL, start.external_mmHg, *start.segment, start.creep_area, start.venous_volume, start.photodiode,
            start.reading_mmHg,
        ])

    def part(self, first: int, last: int) -> "Case":
        """The ticks from `first` to before `last`, with the state that the ticks before them lead to."""
        pending, trace = self.pending.copy(), self.trace[:first]
        head = Inputs(*(v[: first + 1] for v in self.inputs)), Orders(*(v[:first] for v in self.orders))
        start, _, _ = run_ticks(*self._replace(inputs=head[0], orders=head[1], pending=pending, trace=trace))
        return self._replace(
            inputs=Inputs(*(v[first : last + 1] for v in self.inputs)), start=start, pending=pending,
            orders=Orders(*(v[first:last] for v in self.orders)), trace=np.zeros((last - first, len(CHANNELS))),
        )


@pytest.fixture(scope="session")
def make_case() -> Callable[..., Case]:
    """A case of the default rig on the synthetic pressure: seconds, and settings on top."""

    def make(seconds: float, *settings: str, seed: int = 1) -> Case:
        rig = load_rig("wrist", [*NO_STEPS, *settings])
        trace = synthesise(SyntheticPressure(), rig.timing.period_s, seconds, seed)
        calls: list[Any] = []

        def note(*arguments: Any) -> Any:
            calls.append(arguments)
            return run_ticks(*arguments)

        with pytest.MonkeyPatch.context() as patch:  # so that the case is what `simulate` itself would run
            patch.setattr(simulation, "run_ticks", note)
            patch.setattr(simulation, "BLOCK", 10**9)
            simulation.simulate(rig, trace, seed=seed)
        case = Case(*calls[-1])  # the only block with ticks in it
        return case._replace(pending=np.zeros_like(case.pending))

    return make


def c_fields() -> list[tuple[str, Any]]:
    """The members of `rig_t` in the order of the C source."""
    body = re.sub(r"/\*.*?\*/", "", SOURCE.read_text(encoding="utf-8").split("} rig_t;")[0], flags=re.S)
    kinds = {"double": ctypes.c_double, "int64_t": ctypes.c_int64}
    return [
        (name, kinds[kind])
        for kind, names in re.findall(r"\b(double|int64_t)\s([^;()]*);", body.split("typedef struct {")[-1])
        for name in re.split(r"\s*,\s*", names.strip())
    ]


class CRig(ctypes.Structure):
    """`rig_t` of loop.c."""

    _fields_ = c_fields()


def c_values(case: Case) -> dict[str, float]:
    """What the C takes for each member."""
    plant, firmware, clock = case.loop
    law, stage = firmware.coefficients, firmware.stage
    light, valve, air, tube, transducer = plant.light, plant.valve, plant.air, plant.tube, plant.transducer
    believed = believed_air(stage.atmosphere_mmHg)
    vessel, at_peak = segment_line(plant.segment, plant.artery, 0.0), law_at(plant.artery, 0.0)
    share = relative_area(at_peak, at_peak.unloaded_mmHg)
    assert not plant.artery.exponential_linear
    groups: list[tuple[str, tuple[float, ...]]] = [
        ("transmission tissue_lag", plant.tissue),
        ("maximal_area unloaded half_width fast creep_time tone_area tone_shift tone_stiffening tone_viscosity "
         "collapse", plant.artery[:-1]),
        ("source inertance_peak resistance_peak middle_share floor",
         (1.0 / vessel.per_source, share / vessel.per_inertance, share * share * vessel.resistance,
          1.0 / vessel.per_middle, vessel.floor)),
        ("least squeeze emptying filling", plant.vein),
        ("emitter light_transmission", (light.emitter, light.transmission)),
        ("arterial_depth", (light.arterial_absorption_per_cm * light.arterial_path_cm,)),
        ("venous_depth", (light.venous_absorption_per_cm * light.venous_path_cm,)),
        ("photodiode_Hz flicker flicker_Hz light_noise",
         (light.bandwidth_Hz, light.flicker, light.flicker_Hz, light.noise)),
        ("spool_Hz spool_zeta spool_slew dead_band hysteresis conductance critical bleed", valve),
        ("set supply_volume pump stall regulator", plant.supply),
        ("atmosphere temperature exponent laminar", air),
        ("node_volume end_volume", (tube.valve_volume_mL + tube_end_volume(tube), tube_end_volume(tube))),
        ("inertance resistance", (tube_inertance(tube), tube_resistance(tube))),
        ("volume growth half_growth leak", plant.cuff[:4]),
        ("exponent_fast exchange", (exponent(plant.cuff, air), wall_exchange_per_s(plant.cuff))),
        ("transducer_Hz transducer_gain transducer_offset", transducer[1:4]),
        ("drift_tick pressure_noise full_scale",
         (clock.drift_mmHg_tick, transducer.noise_mmHg, transducer.full_scale_mmHg)),
        ("proportional integral_new integral_old derivative_pole derivative_gain lead_b0 lead_b1 lead_a1 notch_b0 "
         "notch_b1 notch_b2 notch_a1 notch_a2 output_low output_high slew_tick tracking", law[1:-1]),
        ("full_flow believed_supply believed_conductance believed_critical believed_dead_band believed_bleed "
         "believed_atmosphere", stage),
        ("believed_temperature believed_laminar", (believed.temperature_K, believed.laminar_ratio)),
        ("fill_gain fill_feedforward handover", firmware.filling),
        ("period share", (clock.period_s, clock.share)),
        ("whole_ticks substeps seed", (clock.whole_ticks, int(clock.substeps), case.seed)),
    ]
    values: dict[str, float] = {}
    for names, numbers in groups:
        values |= dict(zip(names.split(), numbers, strict=True))
    return values


class CLoop:
    """The hand-written loop, compiled."""

    def __init__(self, folder: Path, *options: str) -> None:
        library = folder / "loop.so"
        flags = ["-O3", "-march=native", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", *options]
        subprocess.run(["gcc", *flags, "-o", library, SOURCE, "-lm"], check=True)
        self._run = ctypes.CDLL(str(library)).run
        self._run.restype = ctypes.c_int64

    def prepare(self, case: Case) -> Callable[[], Samples]:
        """A function that runs the case from its start and returns the trace, shape (ticks, channels)."""
        rig = CRig(**c_values(case))
        begin, ticks = case.flat_start(), len(case.orders.mode)
        state, pending, trace = np.empty(STATES), np.empty_like(case.pending), np.zeros((ticks, len(CHANNELS)))
        pointers = [v.ctypes.data_as(ctypes.c_void_p) for v in (*case.inputs, *case.orders, state, pending, trace)]

        def run() -> Samples:
            state[:], pending[:] = begin, case.pending
            done = self._run(ctypes.byref(rig), ctypes.c_int64(ticks), *pointers)
            return trace[:done]

        return run


@pytest.fixture(scope="session")
def c_loop(tmp_path_factory: pytest.TempPathFactory) -> CLoop:
    """The compiled C loop; skips where there is no gcc."""
    if shutil.which("gcc") is None:
        pytest.skip("needs gcc to compile the hand-written yardstick")
    return CLoop(tmp_path_factory.mktemp("loop"))


@pytest.fixture(scope="session")
def c_loop_lumped(tmp_path_factory: pytest.TempPathFactory) -> CLoop:
    """The same without the states of the artery's segment and of the air's heat."""
    if shutil.which("gcc") is None:
        pytest.skip("needs gcc to compile the hand-written yardstick")
    return CLoop(tmp_path_factory.mktemp("lumped"), "-DLUMPED")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """The ratios, where pytest-benchmark's tables do not show them."""
    reports = terminalreporter.stats.get("passed", [])
    lines = [value for report in reports for name, value in report.user_properties if name == "ratio"]
    if lines:
        terminalreporter.section("ratios of medians, runs in turns")
        for line in lines:
            terminalreporter.write_line(line)
