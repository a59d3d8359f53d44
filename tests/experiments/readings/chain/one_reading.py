"""One reading for the tests of how it is told: a virtual person's own finger pressure, read without a rig."""
from functools import lru_cache

import numpy as np

from calibrate.level import LevelKnown
from experiments.readings.beats.reasons import Reason
from experiments.readings.chain.chain import Known, Readings, readings
from experiments.readings.chain.truth import Truth, truth_of
from experiments.readings.output.variation import Ventilation
from experiments.readings.people.wearer import wearer_of
from plant.circulation.person_name import named_person, named_record
from plant.circulation.person_pressure import PersonRecord

NAME, PERIOD_s = "person:45f", 4e-3


@lru_cache(maxsize=1)
def record() -> PersonRecord:
    """48 s."""
    return named_record(NAME, PERIOD_s, 48.0, 1)


def known() -> Known:
    """All that is to be known."""
    return Known(wearer_of(named_person(NAME).person), LevelKnown(), ventilation=Ventilation(True, 8.0))


@lru_cache(maxsize=2)
def one_reading(gap: bool = False) -> tuple[Readings, Truth]:
    """As a perfect clamp reads it: p0 below the arterial pressure; with a search in its middle if asked."""
    condition = np.zeros(len(record().finger_mmHg), np.uint8)
    if gap:
        condition[5000:6000] = int(Reason.SEARCH)
    found = readings(record().finger_mmHg - 5.0, PERIOD_s, condition, known())
    return found, truth_of(record(), found)
