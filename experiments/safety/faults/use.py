"""What the wearer and the surroundings do to a clamp, and an alarm about it is right. Sizes are invented."""
from __future__ import annotations

import numpy as np

from experiments.safety.faults.fault import Case, Fault, harm, since_onset_s, smoothly
from plant.scenarios.events import ArmOcclusion, happen, quiet

RIPPLE, TREMOR, TREMOR_Hz = 0.06, 0.03, 9.0
LIGHT_NOISE, NOISE_mmHg = 0.05, 20.0
SPASM, SPASM_s, OCCLUDED_s = 2.0, 5.0, 20.0


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
