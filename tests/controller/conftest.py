"""What the controller's tests share: loops of invented rigs, one by one or drawn at random."""
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import strategies as st

from controller.margins.loop import Loop, build_loop
from controller.tick.inverse import Direct, FlowInverse
from controller.tick.law import Controller, design
from controller.tick.timing import Timing
from plant.assembly import Plant
from plant.electronics.transducer import Transducer
from plant.finger.artery import Artery
from plant.finger.light import Light
from plant.finger.tissue import Tissue
from plant.operating_point import clamp_point
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube, Tube


def beliefs(valve: FlowValve, **wrong: float) -> FlowInverse:
    """The inverse of a valve, right about it in everything that is not given otherwise."""
    right = FlowInverse(conductance=valve.conductance, critical_ratio=valve.critical_ratio, dead_band=valve.dead_band,
                        bleed_conductance=valve.bleed_conductance)
    return right._replace(**wrong)


CONTROLLER = Controller(kp=0.03, ti_s=0.02, td_s=0.001, filter_ratio=8.0, lead_zero_Hz=112.0, lead_pole_Hz=450.0)
VALVE = FlowValve(bleed_conductance=0.002)


def loop_of(
    plant: Plant | None = None, side: str = "fill", timing: Timing | None = None,
    stage: Direct | FlowInverse | None = None, controller: Controller = CONTROLLER, arterial_mmHg: float = 95.0,
    gain: float = 1.0,
) -> Loop:
    """A loop at rest at one arterial pressure; by default a flow valve that bleeds a little, its inverse, no tube."""
    plant = Plant(valve=VALVE, tube=NoTube()) if plant is None else plant
    timing = Timing() if timing is None else timing
    if stage is None:
        stage = beliefs(plant.valve) if isinstance(plant.valve, FlowValve) else Direct()
    point = clamp_point(plant, arterial_mmHg)
    coefficients = design(controller._replace(kp=gain * controller.kp), timing.period_s)
    return build_loop(plant, point, side, timing, stage, coefficients)


@pytest.fixture(scope="session")
def make_loop() -> Callable[..., Loop]:
    """`make_loop(plant, side, timing, stage, controller, arterial_mmHg, gain)`, all optional."""
    return loop_of


@pytest.fixture(scope="session")
def believe() -> Callable[..., FlowInverse]:
    """`believe(valve, **wrong)` is the inverse of a valve."""
    return beliefs


@st.composite
def loops(draw: st.DrawFn) -> Loop:
    """Rigs with either valve, either stage, any tube, dead time of any length, and gains from timid to far too much."""
    valve: Any = draw(st.sampled_from([FlowValve(), PressureValve()]))
    valve = valve._replace(natural_frequency_Hz=draw(st.floats(40, 300)), damping_ratio=draw(st.floats(0.4, 1.2)))
    stage: Direct | FlowInverse = Direct()
    if isinstance(valve, FlowValve):
        valve = valve._replace(bleed_conductance=draw(st.sampled_from([0.0, 0.002, 0.01])))
        stage = draw(st.sampled_from([Direct(), beliefs(valve), beliefs(valve, conductance=0.045, supply_mmHg=550.0)]))
    tube = draw(st.sampled_from([NoTube(), Tube(), Tube(length_m=1.2, sections=4)]))
    plant = Plant(
        valve=valve, tube=tube, tissue=Tissue(lag_s=draw(st.floats(2e-4, 0.01))),
        artery=Artery(fast_fraction=draw(st.floats(0.3, 0.9))), light=Light(bandwidth_Hz=draw(st.floats(40, 500))),
        cuff=Cuff(volume_mL=draw(st.floats(1, 6))),
        transducer=Transducer(at_valve_end=draw(st.booleans()), bandwidth_Hz=draw(st.floats(50, 500))),
    )
    timing = Timing(dead_time_s=draw(st.sampled_from([0.0, 0.001, 0.003]) | st.floats(0, 0.0045)))
    kp = draw(st.floats(-1, 1).map(lambda power: 0.02 * 10.0**power))
    controller = Controller(
        kp=kp * (0.05 if isinstance(valve, PressureValve) else 1.0), ti_s=draw(st.sampled_from([0.0, 0.01, 0.1])),
        td_s=draw(st.sampled_from([0.0, 0.001, 0.003])), lead_zero_Hz=100.0,
        lead_pole_Hz=draw(st.sampled_from([100.0, 300.0])),
    )
    side = draw(st.sampled_from(["fill", "vent"])) if isinstance(valve, FlowValve) else "fill"
    point = clamp_point(plant, draw(st.floats(70, 130)))
    return build_loop(plant, point, side, timing, stage, design(controller, timing.period_s))


st.register_type_strategy(Loop, loops())  # so that a test may write st.from_type(Loop)
