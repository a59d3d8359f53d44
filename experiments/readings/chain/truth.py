"""The truth of a virtual person beside its readings: what each was, and whether the interval holds it."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import beats_of
from experiments.readings.chain.chain import Readings
from plant.circulation.person_pressure import PersonRecord

Samples = NDArray[np.float64]
LATEST_s = 0.45  # of the foot at the finger after the opening of the valve


class Truth(NamedTuple):
    """Means over the beats that count."""

    values: dict[str, float]  # by the names of the readings' summary
    stroke_mL: Samples  # (beats,) of the beat that each foot belongs to; nan where there is none
    arm_mmHg: Samples  # (samples,) from the same moment on as the readings' waveforms


def strokes_at(record: PersonRecord, onset_s: Samples) -> Samples:
    """True stroke volume of the beat whose foot comes to the finger at each time."""
    opening = record.beats.opening_s[:-1]
    place = np.searchsorted(opening, onset_s, side="right") - 1
    known = (place >= 0) & (onset_s - opening[np.maximum(place, 0)] < LATEST_s)
    return np.asarray(np.where(known, record.beats.stroke_mL[np.maximum(place, 0)], np.nan))


def truth_of(record: PersonRecord, found: Readings, start_s: float = 0.0) -> Truth:
    """Truth for readings that begin `start_s` into the record."""
    counts = found.beats.counts
    strokes = strokes_at(record, found.beats.onset_s + start_s)
    first = round(start_s / record.period_s)
    finger, arm = (values[first : first + len(found.arm_wave_mmHg)]
                   for values in (record.finger_mmHg, record.arm_mmHg))
    values: dict[str, float] = {}
    begin, end = (float(t) for t in (found.beats.onset_s[counts][0], found.beats.onset_s[counts][-1]))
    for prefix, wave in (("finger ", finger), ("", arm)):
        beats = beats_of(wave, record.period_s)
        kept = (beats.onset_s > begin - 0.3) & (beats.onset_s < end + 0.3) & beats.counts
        for name, column in (("systolic", beats.systolic_mmHg), ("mean", beats.mean_mmHg),
                             ("diastolic", beats.diastolic_mmHg)):
            values[f"{prefix}{name}"] = float(np.mean(column[kept]))
    values["stroke volume"] = float(np.nanmean(strokes[counts]))
    values["output"] = float(np.nanmean(strokes[counts] * 60e-3 / found.beats.interval_s[counts]))
    values["cardiac index"] = values["output"] / found.known.wearer.surface_m2
    values["rate"] = 60.0 / float(np.mean(found.beats.interval_s[counts]))
    return Truth(values, strokes, arm)
