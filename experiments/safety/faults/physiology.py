"""What people and surroundings do: what may trip no protection, and what is rightly alarmed about.

What happens within seconds is that of the scenarios (`plant/scenarios/scenario.py`), begun at the onset of a case;
sizes of the rest are invented unless said otherwise.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from experiments.safety.faults.fault import PHYSIOLOGY, Case, Fault, Injector, harm, since_onset_s
from plant.scenarios.events import ArmOcclusion, happen, quiet
from plant.scenarios.scenario import SCENARIOS
from plant.scenarios.sudden import COURSES, Perfused, Sudden, smoothly

Samples = NDArray[np.float64]
RIPPLE, TREMOR, TREMOR_Hz = 0.06, 0.03, 9.0
LIGHT_NOISE, NOISE_mmHg = 0.05, 20.0
SPASM, SPASM_s, OCCLUDED_s = 2.0, 5.0, 20.0


def brought(event: Sudden) -> Injector:
    """A sudden event of a scenario, at the onset of a case and as severe as the case asks."""
    def inject(case: Case, severity: float) -> Case:
        finger = Perfused(case.inputs.arterial_mmHg, case.inputs.tone)
        after = COURSES[event.course](finger, since_onset_s(case), severity * event.severity)
        return case._replace(inputs=case.inputs._replace(arterial_mmHg=after.arterial_mmHg, tone=after.tone))

    inject.__doc__ = COURSES[event.course].__doc__
    return inject


def nothing(case: Case, severity: float) -> Case:
    """A quiet finger."""
    return case


PHYSIOLOGIES: tuple[Fault, ...] = (
    Fault("quiet", "person", "nothing happens", nothing, kind=PHYSIOLOGY),
    *(Fault(name, "person", scenario.about, brought(scenario.sudden[0]), kind=PHYSIOLOGY)
      for name, scenario in SCENARIOS.items() if scenario.sudden),
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
