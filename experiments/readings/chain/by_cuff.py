"""Upper-arm cuff readings as references of what the clamp estimates for the same moments.

Each is compared with the mean of the beats around it; shift and gain follow by `calibrate/reference.py`, which says
what they leave open and how a reference ages.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.reference import CuffReference, Referenced, referenced
from experiments.readings.beats.stream import Beats
from plant.errors import InputError

Samples = NDArray[np.float64]
NEAR_s = 15.0  # on each side of a cuff reading: a cuff takes about half a minute


class CuffReading(NamedTuple):
    """What an upper-arm cuff read during the run."""

    time_s: float
    systolic_mmHg: float
    diastolic_mmHg: float


def by_cuff(cuff: tuple[CuffReading, ...], beats: Beats, arm_mmHg: Samples) -> Referenced:
    """Shift and gain by the readings; `arm_mmHg` (beats, 3) is estimated without them. Raises InputError."""
    references = []
    for one in sorted(cuff):
        near = beats.counts & (np.abs(beats.onset_s - one.time_s) <= NEAR_s)
        if not np.any(near):
            raise InputError(f"--cuff {cuff_text(one)}: no beat within {NEAR_s:g} s of it counts")
        systolic, _, diastolic = (float(value) for value in np.mean(arm_mmHg[near], axis=0))
        references.append(CuffReference(one.time_s, one.systolic_mmHg, one.diastolic_mmHg, systolic, diastolic))
    return referenced(references)


def cuff_text(one: CuffReading) -> str:
    """As it is written: 20:118/76."""
    return f"{one.time_s:g}:{one.systolic_mmHg:g}/{one.diastolic_mmHg:g}"


def cuff_reading(text: str) -> CuffReading:
    """The reading of such a text, TIME:SYSTOLIC/DIASTOLIC [s, mmHg]. Raises InputError."""
    time, colon, pair = text.partition(":")
    systolic, slash, diastolic = pair.partition("/")
    try:
        if not (colon and slash):
            raise ValueError
        found = CuffReading(float(time), float(systolic), float(diastolic))
    except ValueError:
        raise InputError(f"--cuff {text[:60]}: write TIME:SYSTOLIC/DIASTOLIC in s and mmHg, as in 20:118/76") from None
    if not (0.0 <= found.time_s <= 86_400.0 and 20.0 <= found.diastolic_mmHg < found.systolic_mmHg <= 300.0):
        raise InputError(f"--cuff {text[:60]}: time must be from 0 to 86400 s, systolic above diastolic, both within "
                         "20 … 300 mmHg")
    return found
