"""What an instrument is told of its wearer, and what it sees of the circulation: the features of every fitted law."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.circulation.person import Person, body_surface_m2

Samples = NDArray[np.float64]


class Wearer(NamedTuple):
    """Told by the wearer."""

    age_years: float = 50.0
    female: float = 0.0
    height_cm: float = 170.0
    weight_kg: float = 70.0

    @property
    def surface_m2(self) -> float:
        """Body surface (DuBois)."""
        return body_surface_m2(self.height_cm, self.weight_kg)

    @property
    def build(self) -> Samples:
        """1, age, sex, height and weight, each about its usual value; shape (5,)."""
        return np.array([1.0, (self.age_years - 50.0) / 20.0, self.female - 0.5, np.log(self.height_cm / 170.0),
                         np.log(self.weight_kg / 70.0)])


BUILD = ("constant", "age", "sex", "height", "weight")


def wearer_of(person: Person) -> Wearer:
    """What a virtual person would tell."""
    return Wearer(person.age_years, person.female, person.height_cm, person.weight_kg)


def circulation(mean_mmHg: float, interval_s: float) -> Samples:
    """1, mean pressure and interval about usual values; shape (3,)."""
    return np.array([1.0, (mean_mmHg - 90.0) / 20.0, (interval_s - 0.8) / 0.2])
