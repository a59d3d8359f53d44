"""What the outside studies share: random rigs, anywhere within what such an instrument could be built of."""
import math
from collections.abc import Callable

import numpy as np
import pytest

from controller.margins.loop import build_loop, loop_margins, sides
from controller.margins.margins import Margins
from controller.tick.firmware import Filling
from controller.tick.inverse import Direct, FlowInverse
from controller.tick.law import Controller, design
from controller.tick.timing import Timing
from experiments.rigs.rig import Rig, load_rig
from plant.assembly import Plant
from plant.electronics.transducer import Transducer
from plant.errors import InputError
from plant.finger.artery import Artery
from plant.finger.light import Light
from plant.finger.segment import Segment
from plant.finger.tissue import Tissue
from plant.finger.tone import ToneDrive
from plant.finger.vein import Vein
from plant.operating_point import clamp_point
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import NoTube, Tube

Random = np.random.Generator


def draw_valve(random: Random, kind: str) -> FlowValve | PressureValve:
    """A flow valve, with or without dead band, play and bleed, or a pressure-type one."""
    between, decade, maybe = draws(random)
    if kind == "pressure":
        return PressureValve(
            natural_frequency_Hz=decade(30, 200), damping_ratio=between(0.5, 1.2), range_mmHg=between(200, 400),
            slew_mmHg_s=decade(5e3, 1e5), hysteresis=maybe(between(0, 0.01)),
            outlet_resistance_mmHg_s_mL=decade(0.3, 3.0), flow_limit_mL_s=between(30, 200),
        )
    return FlowValve(
        natural_frequency_Hz=decade(40, 300), damping_ratio=between(0.4, 1.2), slew_per_s=decade(30, 1000),
        dead_band=maybe(between(0, 0.06)), hysteresis=maybe(between(0, 0.02)), conductance=decade(0.01, 0.1),
        critical_ratio=between(0.2, 0.5), bleed_conductance=maybe(between(0.0002, 0.003)),
    )


def draws(random: Random) -> tuple[Callable[..., float], Callable[..., float], Callable[..., float]]:
    """Three ways to draw: evenly between two values, evenly in their logarithms, or a given value every other time."""
    return (
        lambda low, high: float(random.uniform(low, high)),
        lambda low, high: float(np.exp(random.uniform(np.log(low), np.log(high)))),
        lambda value: value if random.uniform() < 0.5 else 0.0,
    )


def draw_plant(random: Random, valve_kind: str, sections: int) -> Plant:
    """A plant whose noise and converters are off; wall and veins are quick, so that a second of clamp is a clamp."""
    between, decade, maybe = draws(random)
    tube: Tube | NoTube = NoTube()
    if sections:
        tube = Tube(length_m=max(0.03, 0.15 * sections * between(0.4, 1.0)), diameter_mm=between(1.2, 3.5),
                    sections=sections, valve_volume_mL=decade(0.05, 1.0), loss_factor=between(1, 4),
                    inertance_factor=between(1, 1.33))
    return Plant(
        Tissue(between(0.7, 1.0), decade(0.0003, 0.005)),
        Artery(unloaded_mmHg=between(-5, 20), half_width_mmHg=between(6, 30), fast_fraction=between(0.5, 1.0),
               creep_time_s=decade(0.05, 5), collapse_ratio=between(0.3, 1.0)),
        Segment(length_mm=between(6, 18), diameter_mm=between(0.8, 1.6), outer_speed_m_s=between(5, 12)),
        Vein(emptying_s=decade(0.05, 0.5), filling_s=decade(0.1, 2)),
        Light(transmission=between(0.2, 0.9), arterial_path_cm=between(0.02, 0.1), venous_path_cm=between(0, 0.02),
              bandwidth_Hz=decade(100, 1000), ambient=between(0, 0.1), flicker=maybe(between(0, 0.002)), noise=0.0,
              bits=0),
        draw_valve(random, valve_kind),
        Supply(pressure_mmHg=between(450, 900), volume_mL=decade(30, 2000), pump_flow_mL_s=between(40, 300)),
        Air(between(560, 780), between(283, 308), between(1.0, 1.4), between(0.98, 0.999)),
        tube,
        Cuff(decade(0.8, 10), between(0, 2), between(30, 200), maybe(decade(1e-5, 5e-3)), maybe(between(1.0, 3.0))),
        Transducer(at_valve_end=bool(random.integers(2)), bandwidth_Hz=decade(80, 1000), gain=between(0.97, 1.03),
                   offset_mmHg=between(-3, 3), drift_mmHg_h=between(-20, 20), noise_mmHg=0.0, full_scale_mmHg=400.0,
                   bits=0),
    )


def draw_timing(random: Random) -> Timing:
    """A tick of 1 to 2 ms; dead time of whole ticks, or any share; now and then jitter and missed ticks."""
    between, _, _ = draws(random)
    period = between(0.001, 0.002)
    ticks = float(random.integers(0, 3)) if random.uniform() < 0.3 else between(0, 3)
    jitter = (1.0 - ticks % 1.0) * between(0, 0.9) if random.uniform() < 0.3 else 0.0
    return Timing(period, ticks * period, jitter * period, 0.05 if random.uniform() < 0.2 else 0.0)


def draw_controller(random: Random, low: float, turn_s: float) -> Controller:
    """A PI or PID of unit gain for a loop that turns over 2π `turn_s` a period, here and there with more blocks."""
    between, _, _ = draws(random)
    controller = Controller(
        kp=1.0, ti_s=between(3, 12) * turn_s, td_s=between(0.0, 0.4) * turn_s, filter_ratio=between(4, 12),
        method=("tustin", "backward_euler", "matched")[random.integers(3)], output_low=low, output_bits=0,
    )
    if random.uniform() < 0.3:
        controller = controller._replace(lead_zero_Hz=between(60, 120), lead_pole_Hz=between(150, 240))
    if random.uniform() < 0.3:
        controller = controller._replace(notch_Hz=between(80, 200), notch_width_Hz=30.0)
    return controller._replace(slew_per_s=between(50, 300) if random.uniform() < 0.3 else 0.0)


def draw_inverse(random: Random, plant: Plant) -> FlowInverse:
    """An inverse whose beliefs are not quite true. It never believes in more dead band than there is: at rest, without
    a bleed, such a firmware switches for ever."""
    between, _, _ = draws(random)
    valve = plant.valve
    return FlowInverse(
        between(10, 30), plant.supply.pressure_mmHg, valve.conductance * between(0.9, 1.1), valve.critical_ratio,
        valve.dead_band * between(0.8, 1.0), valve.bleed_conductance, plant.air.atmosphere_mmHg,
    )


def smoothed(plant: Plant) -> Plant:
    """The same at rest for good: a bleed in place of the dead band's middle, no play, flicker or drift.

    Veins take seconds, as they do: they empty faster than they fill, a corner at rest that no twin can have.
    """
    valve, vein = plant.valve._replace(hysteresis=0.0), plant.vein
    if isinstance(valve, FlowValve):
        valve = valve._replace(bleed_conductance=0.03 * valve.conductance + valve.bleed_conductance)
    return plant._replace(
        valve=valve, light=plant.light._replace(flicker=0.0), transducer=plant.transducer._replace(drift_mmHg_h=0.0),
        vein=vein._replace(emptying_s=10.0 * vein.emptying_s, filling_s=10.0 * vein.filling_s),
    )


def draw_once(
    random: Random, valve_kind: str, sections: int, inverse: bool, smooth: bool, margin: tuple[float, float]
) -> tuple[Rig, float]:
    """As `draw_rig`, or InputError when this one cannot clamp or is not a loop that anybody would close."""
    between, _, _ = draws(random)
    mean_mmHg, timing, plant = between(60, 120), draw_timing(random), draw_plant(random, valve_kind, sections)
    tone = ToneDrive(level=between(-0.3, 0.5), wave=between(0, 0.2))
    if smooth:
        plant, timing, tone = smoothed(plant), timing._replace(jitter_s=0.0, missed_share=0.0), tone._replace(wave=0.0)
    stage = draw_inverse(random, plant) if inverse else Direct(between(0.5, 2.0))
    point = clamp_point(plant, mean_mmHg, tone.level)

    def worst(controller: Controller) -> Margins:
        coefficients = design(controller, timing.period_s)
        found = [loop_margins(build_loop(plant, point, side, timing, stage, coefficients)) for side in sides(plant)]
        return min(found, key=lambda m: m.gain_margin)

    turn_s = 1.0 / (2.0 * math.pi * worst(Controller(kp=1e-5, ti_s=10.0)).gain_margin_Hz)
    controller = draw_controller(random, -1.0 if valve_kind == "flow" else 0.0, turn_s)
    least = worst(controller._replace(kp=1e-5)).gain_margin
    controller = controller._replace(kp=1e-5 * least / between(*margin))
    found = worst(controller)
    if not (found.stable and found.modulus_margin > 0.3):
        raise InputError("not a loop that anybody would close")
    filling = Filling(max(controller.kp * between(0.2, 0.6), 0.004), 0.0)  # at least what gets past leak and dead band
    if valve_kind == "pressure":
        filling = Filling(0.0, 1.0 / (plant.valve.range_mmHg * stage.gain))
    rig = load_rig("wrist")._replace(
        name="random", plant=plant, tone=tone, timing=timing, controller=controller, stage=stage, filling=filling
    )
    return rig, mean_mmHg


def draw_rig(
    random: Random, valve_kind: str, sections: int, inverse: bool = False, smooth: bool = False,
    margin: tuple[float, float] = (2.0, 6.0),
) -> tuple[Rig, float]:
    """A random rig and the mean pressure [mmHg] it clamps at; its worse side has a gain margin within `margin`."""
    while True:
        try:
            return draw_once(random, valve_kind, sections, inverse, smooth, margin)
        except InputError:
            continue


@pytest.fixture(scope="session")
def random_rig() -> Callable[..., tuple[Rig, float]]:
    """`random_rig(random, valve_kind, sections, inverse, smooth, margin)`: see `draw_rig`."""
    return draw_rig
