"""What the protection's thresholds leave to the rig, filled in from the rig as designed, on its own nominal finger."""
from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import build_loop, open_loop, sides
from controller.protection.detectors_balance import NOMINAL_mmHg
from controller.protection.guards import Guards
from controller.response import sweep
from controller.tick.check_sum import settings_sum
from controller.tick.inverse import FlowInverse
from controller.tick.law import design
from experiments.rigs.rig import Rig, clamp
from plant.finger.light import sample_deviation
from plant.operating_point import plant_twin
from plant.parts import valve_nature
from plant.pneumatics.air import chamber_rate, restriction_flow, rigid_rate
from plant.pneumatics.cuff import bladder_growth, bladder_volume
from plant.pneumatics.tube import NoTube, tube_volume

Complex = NDArray[np.complex128]
SUPPLY_BAND = 0.02  # of the regulated pressure, either way: the regulators of the built-in rigs stay within 0.5 %
REVERSALS_per_s = 10.0  # a pressure valve's fast demand may hide its range's air so often (invented)
FASTEST_Hz, HARMONICS, FALL = 3.0, 20, 1.5  # a pulse at 180 a minute; its harmonics' amplitudes fall as k^−3/2
FOLLOWING_TIMES = 1.6  # a loop may leave this many times the share of such a pulse (all invented)


def thresholds(rig: Rig) -> Guards:
    """The guards of a rig with every value that is left to the rig (0) filled in. Raises InputError."""
    guards, plant = rig.guards, rig.plant
    part = guards.protection
    band, regulated = part.supply_range, plant.supply.pressure_mmHg
    own = settings_sum(design(rig.controller, rig.timing.period_s))
    return guards._replace(protection=part._replace(
        response=_response(rig), air_use=_air_use(rig),
        supply_range=band._replace(
            lowest_mmHg=band.lowest_mmHg or (1.0 - SUPPLY_BAND) * regulated,
            highest_mmHg=band.highest_mmHg or (1.0 + SUPPLY_BAND) * regulated,
        ),
        settings_check=part.settings_check._replace(expected=part.settings_check.expected or int(own)),
        following=part.following._replace(share=part.following.share or FOLLOWING_TIMES * pulse_share(rig)),
        light_signal=part.light_signal._replace(noise=part.light_signal.noise or sample_deviation(rig.plant.light)),
    ))


def pulse_share(rig: Rig) -> float:
    """Share of a fast pulse that the rig's loop leaves, as `Following` sees it: |S| over its harmonics in that band.

    At the rig's nominal pressure and finger, the worst side at each harmonic.
    """
    point, part = clamp(rig, NOMINAL_mmHg, rig.tone.level), rig.guards.protection.following
    law = design(rig.controller, rig.timing.period_s)
    k = np.arange(1.0, HARMONICS + 1.0)
    wave = FASTEST_Hz * k
    omega = np.asarray(2.0 * np.pi * wave, dtype=np.float64)
    left = np.zeros(HARMONICS)
    for side in sides(rig.plant):
        loop = open_loop(build_loop(rig.plant, point, side, rig.timing, rig.stage, law))
        gain: Complex = np.multiply(sweep(loop.plant, omega), sweep(loop.controller, omega))
        left = np.maximum(left, np.abs(1.0 / (1.0 + gain)))
    pulse = k**-FALL / np.hypot(1.0, part.low_Hz / wave)
    seen = pulse * left / (1.0 + (wave / part.high_Hz) ** 2)
    return float(np.sqrt(np.sum(seen**2) / np.sum(pulse**2)))


def _behind_valve(plant: Any) -> tuple[float, float]:
    """Air behind the valve [mL]: outlet, tube and bladder; and its growth [mL/mmHg], at the nominal pressure."""
    volume = float(bladder_volume(plant.cuff, NOMINAL_mmHg))
    if not isinstance(plant.tube, NoTube):
        volume += plant.tube.valve_volume_mL + float(tube_volume(plant.tube))
    return volume, float(bladder_growth(plant.cuff, NOMINAL_mmHg))


def _response(rig: Rig) -> Any:
    """A flow inverse's demand is a rate of pressure in the rig's own bladder, a pressure valve's command a pressure.

    For any other pair the firmware has no such belief, and only the clamp's error is watched.
    """
    response, plant, stage = rig.guards.protection.response, rig.plant, rig.stage
    nature = valve_nature(plant.valve)
    if response.rate_mmHg_s == 0.0 and response.range_mmHg == 0.0:
        if isinstance(stage, FlowInverse):
            rate = chamber_rate(plant.air, *_behind_valve(plant), NOMINAL_mmHg, stage.full_flow_mL_s)
            response = response._replace(rate_mmHg_s=float(rate))
        else:
            response = response._replace(range_mmHg=nature.range_mmHg)
    if response.fill_lag_s == 0.0 and nature.range_mmHg > 0.0:
        slew = response.fill_slew_mmHg_s or nature.slew_mmHg_s
        response = response._replace(fill_lag_s=fill_lag_s(rig), fill_slew_mmHg_s=slew)
    return response


def fill_lag_s(rig: Rig) -> float:
    """Mean lag [s] from command to reading, −H'(0)/H(0) of the linear twin, and the tick from sampling to command."""
    twin = plant_twin(rig.plant, clamp(rig, NOMINAL_mmHg, rig.tone.level))
    into, out = twin.inputs.index("command"), twin.outputs.index("reading")
    once = np.linalg.solve(twin.a, twin.b[:, into])
    twice = np.linalg.solve(twin.a, once)
    gain = float(twin.d[out, into] - twin.c[out] @ once)
    return float(twin.c[out] @ twice) / gain + rig.timing.dead_time_s


def _air_use(rig: Rig) -> Any:
    """Air per pressure before and behind the valve, and a flow valve's quiescent bleed."""
    use, plant = rig.guards.protection.air_use, rig.plant
    cuff = use.cuff_mL_mmHg or 1.0 / float(chamber_rate(plant.air, *_behind_valve(plant), NOMINAL_mmHg, 1.0))
    reservoir = use.reservoir_mL_mmHg or 1.0 / float(rigid_rate(plant.air, plant.supply.volume_mL, 1.0))
    bleed = use.bleed_mL_s
    nature = valve_nature(plant.valve)
    if bleed == 0.0 and nature.openings is not None:
        always, ratio = nature.openings.bleed_conductance, nature.openings.critical_ratio
        bleed = float(restriction_flow(plant.air, always, ratio, NOMINAL_mmHg, 0.0))
    flow = use.demand_mL_s
    if flow == 0.0 and nature.range_mmHg > 0.0:
        flow = cuff * nature.range_mmHg * REVERSALS_per_s
    elif flow == 0.0 and isinstance(rig.stage, FlowInverse):
        flow = rig.stage.full_flow_mL_s
    return use._replace(cuff_mL_mmHg=cuff, reservoir_mL_mmHg=reservoir, bleed_mL_s=bleed, demand_mL_s=flow)
