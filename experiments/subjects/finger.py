"""One virtual finger: everything that belongs to the person and to how the cuff was put on, and nothing of the rig.

A finger is put into a rig with `on_finger`. Its pulsation in the light follows from the static area law:
AC/DC = (I(diastole) − I(systole)) / I(mean of both), with only the immediate share φ of the wall moving in a beat.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np

from experiments.rigs.rig import Rig
from plant.assembly import Inputs, Plant
from plant.bounds import check_bounds
from plant.declare import quantity
from plant.errors import InputError
from plant.finger.artery import Artery, fast_share, static_area, static_compliance, unloaded_pressure
from plant.finger.light import light_intensity, light_per_area, sample_deviation
from plant.finger.tone import ToneDrive, tone_samples
from plant.finger.vein import Vein, vein_target
from plant.messages import value_text
from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import SyntheticPressure, synthesise
from plant.units import hydrostatic_mmHg

NO_PULSE, LIGHT_SATURATED, LOOSE_CUFF = "no_pulse", "light_saturated", "loose_cuff"
DEFECTS = (NO_PULSE, LIGHT_SATURATED, LOOSE_CUFF)
LEFT_mmHg = (10.0, 30.0)  # pressure in an artery without flow (10–30, from memory)


class Wearer(NamedTuple):
    """Whose finger it is, and where the hand is."""

    age_years: Annotated[float, quantity("years", 15, 100, "age; nothing is computed from it", "scenario")] = 45.0
    height_m: Annotated[float, quantity("m", -1, 1, "height of the cuff above the heart", "scenario")] = 0.0


class LightPath(NamedTuple):
    """What of the light path is the finger's and the room's; emitter, filter and converter are the rig's."""

    transmission: Annotated[
        float, quantity("1", 1e-4, 1, "detected share of full scale with no blood, at nominal drive", "invented")
    ] = 0.7
    arterial_path_cm: Annotated[
        float, quantity("cm", 1e-4, 1, "mean light path in the arteries at maximal area", "invented")
    ] = 0.06
    venous_path_cm: Annotated[
        float, quantity("cm", 0, 1, "mean light path in the veins when full", "invented")
    ] = 0.04
    ambient: Annotated[float, quantity("1", 0, 1, "steady ambient light at the detector", "invented")] = 0.02
    noise: Annotated[float, quantity("1", 0, 0.1, "SD of white noise in a sample", "invented")] = 2e-5


class Vessel(NamedTuple):
    """What of the compressed segment is the finger's; its length and the light's window are the rig's."""

    diameter_mm: Annotated[
        float, quantity("mm", 0.3, 4, "inner diameter of the artery at the largest area", "0.8–1.8, from memory")
    ] = 1.2
    outer_speed_m_s: Annotated[
        float, quantity("m/s", 2, 30, "pulse wave speed outside the cuff (c_e)", "6–10, muscular arteries, from memory")
    ] = 8.0


class Fit(NamedTuple):
    """How the cuff sits."""

    transmission: Annotated[
        float, quantity("1", 0.3, 1.0, "share of cuff pressure at the artery (η)", "ideal fit; less when loose")
    ] = 1.0
    slack: Annotated[
        float, quantity("1", -0.5, 5, "extra bladder volume of the wrap, share of the nominal volume", "0: as designed")
    ] = 0.0


class Finger(NamedTuple):
    """One virtual finger. `defect` is empty, or says why it cannot be measured (one of DEFECTS)."""

    name: str
    group: str = "own"
    seed: int = 1  # of its beats, tone and noise
    wearer: Wearer = Wearer()
    pressure: SyntheticPressure = SyntheticPressure()
    artery: Artery = Artery()
    segment: Vessel = Vessel()
    vein: Vein = Vein()
    tone: ToneDrive = ToneDrive()
    light: LightPath = LightPath()
    fit: Fit = Fit()
    defect: str = ""


PARTS: dict[str, type] = {
    "wearer": Wearer, "pressure": SyntheticPressure, "artery": Artery, "segment": Vessel, "vein": Vein,
    "tone": ToneDrive, "light": LightPath, "fit": Fit,
}


class Pulsation(NamedTuple):
    """What the pulse does to the light of a finger, by the static law."""

    cuff_mmHg: float  # cuff pressure at which it is looked at
    share: float  # AC/DC: pulsation over mean light, ambient light included
    swing: float  # the pulsation itself, share of full scale
    light_slope: float  # light per mmHg of cuff pressure at the unloaded volume [1/mmHg]
    noise_mmHg: float  # SD of noise and converter steps of a sample, through that slope


def check_finger(finger: Finger) -> None:
    """Raise InputError, naming finger and key, when a value is outside its bounds or at odds with another."""
    for table in PARTS:
        check_bounds(getattr(finger, table), f"finger {finger.name}: {table}")
    if finger.pressure.systolic_mmHg < finger.pressure.diastolic_mmHg + 5.0:
        raise InputError(
            f"finger {finger.name}: pressure.systolic_mmHg = {finger.pressure.systolic_mmHg:g} mmHg must be at least "
            f"5 mmHg above pressure.diastolic_mmHg = {finger.pressure.diastolic_mmHg:g} mmHg"
        )
    if finger.defect and finger.defect not in DEFECTS:
        raise InputError(
            f"finger {finger.name}: defect = {value_text(finger.defect)} must be empty or one of {', '.join(DEFECTS)}"
        )
    if not 0 <= finger.seed < 2**63:
        raise InputError(f"finger {finger.name}: seed = {finger.seed} must be from 0 to {2**63 - 1}")


def on_finger(rig: Rig, finger: Finger) -> Rig:
    """The rig on this finger: arteries, veins, tone, light path, tissue coupling and bladder volume are replaced.

    Everything else stays the rig's, the tissue's lag, the emitter and the converter among it; so do the classes of all
    parts and the tables that the rig was made from. Raises InputError for a finger out of bounds.
    """
    check_finger(finger)
    plant = rig.plant
    cuff = plant.cuff._replace(volume_mL=plant.cuff.volume_mL * (1.0 + finger.fit.slack))
    check_bounds(cuff, f"finger {finger.name} on rig {rig.name}: cuff")
    return rig._replace(
        tone=finger.tone,
        plant=plant._replace(
            tissue=plant.tissue._replace(transmission=finger.fit.transmission), artery=finger.artery, vein=finger.vein,
            segment=plant.segment._replace(**finger.segment._asdict()),
            light=plant.light._replace(**finger.light._asdict()), cuff=cuff,
        ),
    )


def finger_pressure(finger: Finger, period_s: float, seconds: float) -> PressureTrace:
    """Arterial pressure at the cuff for `seconds` on ticks of `period_s`; the finger's seed gives the same bits.

    A finger without a pulse has a constant low pressure: what is left in an artery without flow (invented). Raises
    InputError.
    """
    check_finger(finger)
    trace = synthesise(finger.pressure, period_s, seconds, finger.seed)
    pressure, source = trace.pressure_mmHg, trace.source
    if finger.defect == NO_PULSE:
        left = float(np.random.Generator(np.random.PCG64(finger.seed)).uniform(*LEFT_mmHg))
        pressure, source = np.full(len(pressure), left), f"no pulse: a constant {left:.4g} mmHg"
    if finger.wearer.height_m != 0.0:
        pressure = np.maximum(pressure - hydrostatic_mmHg(finger.wearer.height_m), 0.0)
        source += f", at {finger.wearer.height_m:g} m above the heart"
    return trace._replace(pressure_mmHg=pressure, name=finger.name, source=source)


def finger_inputs(rig: Rig, finger: Finger, seconds: float) -> Inputs:
    """Surroundings of a run of `seconds` on the rig's ticks: pressure, tone and ambient light, by the finger's seed."""
    pressure = finger_pressure(finger, rig.timing.period_s, seconds).pressure_mmHg
    tone = tone_samples(finger.tone, len(pressure), rig.timing.period_s, finger.seed)
    return Inputs(pressure, tone, np.full(len(pressure), finger.light.ambient))


def best_cuff_mmHg(plant: Plant, systolic_mmHg: float, diastolic_mmHg: float, tone: float) -> float:
    """Cuff pressure [mmHg] of the largest pulsation of area: the middle of the pulse is at the unloaded volume.

    The arctangent law is symmetric about p0, so the largest swing is the symmetric one. Never below zero.
    """
    middle = 0.5 * (systolic_mmHg + diastolic_mmHg)
    return max(middle - float(unloaded_pressure(plant.artery, tone)), 0.0) / plant.tissue.transmission


def pulsation(
    plant: Plant, systolic_mmHg: float, diastolic_mmHg: float, tone: float = 0.0, cuff_mmHg: float | None = None
) -> Pulsation:
    """The pulse in the light of a plant at a cuff pressure [mmHg]; without one, at that of the largest pulsation."""
    artery, light = plant.artery, plant.light
    cuff = best_cuff_mmHg(plant, systolic_mmHg, diastolic_mmHg, tone) if cuff_mmHg is None else cuff_mmHg
    external = plant.tissue.transmission * cuff
    veins = float(vein_target(plant.vein, external))

    def lit(area: float) -> float:
        return float(light_intensity(light, area, veins, light.ambient))

    high, low = (float(static_area(artery, p - external, tone)) for p in (systolic_mmHg, diastolic_mmHg))
    fast = float(fast_share(artery, tone))
    creeping = (1.0 - fast) * 0.5 * (high + low)
    dark, bright = (lit(fast * area + creeping) for area in (high, low))
    unloaded = float(unloaded_pressure(artery, tone))
    per_area = float(light_per_area(light, float(static_area(artery, unloaded, tone)), veins))
    compliance = float(static_compliance(artery, unloaded, tone)) * fast
    slope = per_area * compliance * plant.tissue.transmission
    noise = sample_deviation(light)
    swing = bright - dark
    return Pulsation(cuff, 2.0 * swing / (bright + dark), swing, slope, noise / slope if slope > 0.0 else math.inf)


def pulsation_share(
    plant: Plant, systolic_mmHg: float, diastolic_mmHg: float, tone: float = 0.0, cuff_mmHg: float | None = None
) -> float:
    """AC/DC of the light of a plant at a cuff pressure [mmHg]; without one, at that of the largest pulsation."""
    return pulsation(plant, systolic_mmHg, diastolic_mmHg, tone, cuff_mmHg).share


def bare_plant(finger: Finger) -> Plant:
    """The finger in a default plant, where only what belongs to the finger matters."""
    light = Plant().light._replace(**finger.light._asdict())
    tissue = Plant().tissue._replace(transmission=finger.fit.transmission)
    segment = Plant().segment._replace(**finger.segment._asdict())
    return Plant(tissue=tissue, artery=finger.artery, segment=segment, vein=finger.vein, light=light)


def finger_pulsation(finger: Finger, cuff_mmHg: float | None = None) -> Pulsation:
    """The pulse in the light of a finger at its resting tone, with a nominal emitter and converter."""
    pressure = finger.pressure
    return pulsation(bare_plant(finger), pressure.systolic_mmHg, pressure.diastolic_mmHg, finger.tone.level, cuff_mmHg)
