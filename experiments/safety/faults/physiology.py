"""What people and surroundings do: what may trip no protection, and what is rightly alarmed about.

Sizes are scenarios, invented unless said otherwise.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from experiments.safety.faults.fault import PHYSIOLOGY, Case, Fault, harm, since_onset_s, smoothly
from plant.pressure.hand import QUICK_m_s, way_s
from plant.scenarios.events import ArmOcclusion, happen, quiet
from plant.units import hydrostatic_mmHg

Samples = NDArray[np.float64]
LEAST_mmHg = 25.0  # arterial pressure that is always left
HAND_m = 0.4
HAND_s = way_s(HAND_m, QUICK_m_s)
RIPPLE, TREMOR, TREMOR_Hz = 0.06, 0.03, 9.0
LIGHT_NOISE, NOISE_mmHg = 0.05, 20.0
SPASM, SPASM_s, OCCLUDED_s = 2.0, 5.0, 20.0


def _scaled(case: Case, factor: Samples, added_mmHg: Samples) -> Case:
    """Pressure times a factor plus something; at least what is always left."""
    pressure = np.maximum(case.inputs.arterial_mmHg * factor + added_mmHg, LEAST_mmHg)
    return case._replace(inputs=case.inputs._replace(arterial_mmHg=pressure))


def hypotension(case: Case, severity: float) -> Case:
    """Pressure falls by a third within ten seconds and stays there."""
    time = since_onset_s(case)
    return _scaled(case, 1.0 - 0.33 * severity * smoothly(time, 0.0, 10.0), np.zeros(len(time)))


def hypertension(case: Case, severity: float) -> Case:
    """Pressure rises by a quarter within ten seconds and stays there."""
    time = since_onset_s(case)
    return _scaled(case, 1.0 + 0.25 * severity * smoothly(time, 0.0, 10.0), np.zeros(len(time)))


def hand_raised(case: Case, severity: float) -> Case:
    """The hand goes up by 40 cm at 10 cm/s (ρ g h), or less where little pressure is left, and stays."""
    time = since_onset_s(case)
    spare = max(float(np.mean(case.inputs.arterial_mmHg)) - 55.0, 0.0)
    fall = min(hydrostatic_mmHg(HAND_m * severity), spare)
    return _scaled(case, np.ones(len(time)), -fall * smoothly(time, 0.0, HAND_s))


def hand_lowered(case: Case, severity: float) -> Case:
    """The hand goes down by 40 cm at 10 cm/s (ρ g h) and stays."""
    time = since_onset_s(case)
    return _scaled(case, np.ones(len(time)), hydrostatic_mmHg(HAND_m * severity) * smoothly(time, 0.0, HAND_s))


def cold_finger(case: Case, severity: float) -> Case:
    """Cold: tone rises within half a minute."""
    tone = case.inputs.tone + 0.4 * severity * smoothly(since_onset_s(case), 0.0, 30.0)
    return case._replace(inputs=case.inputs._replace(tone=tone))


def valsalva(case: Case, severity: float) -> Case:
    """40 mmHg of strain for 15 s: up, down, partly up again, a dip at release, overshoot (Denq, O'Brien & Low 1998)."""
    time = since_onset_s(case)
    times = np.array([0.0, 1.0, 3.0, 9.0, 14.5, 15.0, 16.0, 18.0, 22.0, 35.0])
    change = np.array([0.0, 30.0, 28.0, -12.0, -4.0, -4.0, -25.0, -18.0, 25.0, 0.0]) * severity
    pulse = np.array([1.0, 1.0, 0.9, 0.6, 0.65, 0.65, 0.65, 0.8, 1.15, 1.0])
    mean = float(np.mean(case.inputs.arterial_mmHg))
    share = mean / 95.0
    factor = 1.0 + severity * (np.interp(time, times, pulse) - 1.0)
    return _scaled(case, factor, mean * (1.0 - factor) + share * np.interp(time, times, change))


def cough(case: Case, severity: float) -> Case:
    """Three coughs: pressure of the chest reaches the finger, up by 60 mmHg within a tenth of a second each time."""
    time = since_onset_s(case)
    added = np.zeros(len(time))
    for start in (0.5, 1.4, 2.3):
        u = np.clip((time - start) / 0.4, 0.0, 1.0)
        added += 60.0 * severity * np.sin(np.pi * u) ** 2
    return _scaled(case, np.ones(len(time)), added)


def arrhythmia(case: Case, severity: float) -> Case:
    """Every third beat or so comes early and weak, with a pause behind it: stretches of time run faster and slower."""
    time = since_onset_s(case)
    modulation = 0.12 * severity * (np.sin(2.0 * np.pi * 0.31 * time) + np.sin(2.0 * np.pi * 0.53 * time + 1.0))
    modulation -= 0.12 * severity * np.sin(1.0)
    clock = np.clip(time + np.where(time > 0.0, modulation, 0.0), time[0], time[-1])
    pressure = np.interp(clock, time, case.inputs.arterial_mmHg)
    mean = float(np.mean(pressure))
    factor = 1.0 + 0.25 * severity * np.where(time > 0.0, np.sin(2.0 * np.pi * 0.43 * time), 0.0)
    return case._replace(inputs=case.inputs._replace(arterial_mmHg=mean + factor * (pressure - mean)))


def nothing(case: Case, severity: float) -> Case:
    """A quiet finger."""
    return case


PHYSIOLOGIES: tuple[Fault, ...] = (
    Fault("quiet", "person", "nothing happens", nothing, kind=PHYSIOLOGY),
    Fault("hypotension", "person", "pressure falls by a third", hypotension, kind=PHYSIOLOGY),
    Fault("hypertension", "person", "pressure rises by a quarter", hypertension, kind=PHYSIOLOGY),
    Fault("arrhythmia", "person", "irregular rhythm and pulse", arrhythmia, kind=PHYSIOLOGY),
    Fault("hand_raised", "person", "hand up by 40 cm", hand_raised, kind=PHYSIOLOGY),
    Fault("hand_lowered", "person", "hand down by 40 cm", hand_lowered, kind=PHYSIOLOGY),
    Fault("cold_finger", "person", "finger cools, vessels constrict", cold_finger, kind=PHYSIOLOGY),
    Fault("valsalva", "person", "strains for 15 s", valsalva, kind=PHYSIOLOGY),
    Fault("cough", "person", "coughs three times", cough, kind=PHYSIOLOGY),
)


def moving(case: Case, severity: float) -> Case:
    """The finger moves for two seconds, again and again."""
    return harm(case, light_ripple=RIPPLE * severity, gate_every_s=6.0, gate_on_s=2.0)


def shivering(case: Case, severity: float) -> Case:
    """The wearer shivers: light trembles at 9 Hz, within the band of the pulse's harmonics."""
    return harm(case, light_ripple=TREMOR * severity, light_ripple_Hz=TREMOR_Hz)


def electrosurgery(case: Case, severity: float) -> Case:
    """Electrosurgery nearby: both channels carry noise for a second, every third second."""
    return harm(case, light_noise=LIGHT_NOISE * severity, reading_noise_mmHg=NOISE_mmHg * severity, gate_every_s=3.0,
                gate_on_s=1.0)


def arm_cuff(case: Case, severity: float) -> Case:
    """A cuff on the same arm is inflated for its own measurement: no pulse for 20 s, then hyperaemia."""
    seconds = 5.0 * OCCLUDED_s  # of the event's own run, of which it shuts a fifth
    event = ArmOcclusion(start=0.0, occluded_s=OCCLUDED_s)
    slow = happen(quiet(seconds), event, seconds, 1.0, case.seed)
    time = since_onset_s(case)
    closed, floor, tone = (
        np.where(time >= 0.0, np.interp(time, slow.time_s, values), 0.0)
        for values in (1.0 - slow.open, slow.floor_mmHg, slow.tone))
    arterial, closed = case.inputs.arterial_mmHg, closed * severity
    pressure = (1.0 - closed) * arterial + closed * np.where(floor > 0.0, floor, arterial)
    return case._replace(inputs=case.inputs._replace(arterial_mmHg=pressure, tone=case.inputs.tone + severity * tone))


def vasospasm(case: Case, severity: float) -> Case:
    """The finger's vessels shut within five seconds."""
    tone = case.inputs.tone + SPASM * severity * smoothly(since_onset_s(case), 0.0, SPASM_s)
    return case._replace(inputs=case.inputs._replace(tone=tone))


USE: tuple[Fault, ...] = (
    Fault("motion_repeated", "wearer", "moves, again and again", moving),
    Fault("shivering", "wearer", "shivers at 9 Hz", shivering),
    Fault("electrosurgery", "surroundings", "noise in bursts", electrosurgery),
    Fault("arm_cuff_same_side", "surroundings", "shuts the arm for 20 s", arm_cuff),
    Fault("vasospasm", "wearer", "vessels shut within 5 s", vasospasm),
)
