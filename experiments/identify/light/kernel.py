"""Light through a finger under recorded pressures: the plant's own tissue, segment, wall, veins and photodiode.

Cuff and arterial pressure are what was recorded, joined by straight lines; the lamp's drive is held from sample to
sample. A phantom has no blood: its light is the photodiode's filter alone.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import fused, released
from plant.finger.artery import Artery, present_area, relative_area, static_area, wall_rate
from plant.finger.light import Light, ambient_seen, filter_rate_per_s, light_intensity, photodiode_rate
from plant.finger.segment import Segment, SegmentLine, SegmentState, segment_at_rest, segment_line, segment_rates
from plant.finger.tissue import Tissue, tissue_rate
from plant.finger.vein import Vein, vein_rate, vein_target
from plant.numerics.integrate import advance, weigh

Samples = NDArray[np.float64]


class Finger(NamedTuple):
    """The parts of a plant that light and blood go through."""

    tissue: Tissue
    artery: Artery
    segment: Segment
    vein: Vein
    light: Light
    tone: float


class FingerState(NamedTuple):
    """As of the whole plant, less its pneumatics."""

    external_mmHg: float
    segment: SegmentState
    creep_area: float
    venous_volume: float
    photodiode: float


@fused
def finger_rates(
    finger: Finger, vessel: SegmentLine, state: FingerState, arterial_mmHg: float, cuff_mmHg: float, drive: float
) -> FingerState:
    """Rates of the state [its unit per s], as `plant.assembly` has them."""
    target = vessel.law.largest_area * relative_area(vessel.law, state.segment.middle_mmHg)
    area = present_area(vessel.law, state.creep_area, target)
    lit = drive * light_intensity(finger.light, area, state.venous_volume, 0.0)
    lit += ambient_seen(finger.light, finger.light.ambient)
    return FingerState(
        tissue_rate(finger.tissue, state.external_mmHg, cuff_mmHg),
        segment_rates(vessel, state.segment, arterial_mmHg - state.external_mmHg),
        wall_rate(finger.artery, state.creep_area, target),
        vein_rate(finger.vein, state.venous_volume, state.external_mmHg),
        photodiode_rate(finger.light, state.photodiode, lit),
    )


@released
def follow(
    finger: Any, start: Any, pressures: Any, period_s: float, substeps: int, course: Any
) -> None:
    """Fill `course` with the photodiode at each sample; `pressures` is (2, samples): arterial and cuff [mmHg]."""
    vessel = segment_line(finger.segment, finger.artery, finger.tone)
    state = start
    step = period_s / substeps
    for k in range(len(course)):
        course[k] = state.photodiode
        if k + 1 == len(course):
            break
        arterial, cuff = pressures[0, k], pressures[1, k]
        arterial_by = (pressures[0, k + 1] - arterial) / substeps
        cuff_by = (pressures[1, k + 1] - cuff) / substeps
        for _ in range(substeps):
            middle_a, middle_c = arterial + 0.5 * arterial_by, cuff + 0.5 * cuff_by
            first = finger_rates(finger, vessel, state, arterial, cuff, 1.0)
            second = finger_rates(finger, vessel, advance(state, 0.5 * step, first), middle_a, middle_c, 1.0)
            third = finger_rates(finger, vessel, advance(state, 0.5 * step, second), middle_a, middle_c, 1.0)
            arterial, cuff = arterial + arterial_by, cuff + cuff_by
            fourth = finger_rates(finger, vessel, advance(state, step, third), arterial, cuff, 1.0)
            state = advance(state, step, weigh(first, second, third, fourth))


def finger_course(
    finger: Finger, arterial_mmHg: Samples, cuff_mmHg: Samples, period_s: float, substeps: int
) -> Samples:
    """Light (samples,), a fraction of full scale, of a finger at rest under the first sample's pressures."""
    external = finger.tissue.transmission * float(cuff_mmHg[0])
    driving = float(arterial_mmHg[0]) - external
    area = float(static_area(finger.artery, float(np.mean(arterial_mmHg[: len(arterial_mmHg) // 8 + 1])) - external,
                             finger.tone))
    veins = float(vein_target(finger.vein, external))
    lit = float(light_intensity(finger.light, area, veins, finger.light.ambient))
    start = FingerState(external, segment_at_rest(driving), area, veins, lit)
    course = np.empty(len(arterial_mmHg))
    follow(finger, start, np.ascontiguousarray(np.stack([arterial_mmHg, cuff_mmHg])), period_s, substeps, course)
    return course


def phantom_course(light: Light, drive: Samples, period_s: float) -> Samples:
    """What the photodiode's filter makes of a lamp's drive, held from sample to sample: exact, of unit height."""
    from scipy.signal import lfilter

    keep = float(np.exp(-filter_rate_per_s(light) * period_s))
    found, _ = lfilter([0.0, 1.0 - keep], [1.0, -keep], drive, zi=[drive[0]])
    return np.asarray(found, float)
