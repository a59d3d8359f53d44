"""Virtual people, each in nine states of the circulation, with flow and pressures that belong together.

The states are what a day or an operation does to somebody: rest; stroke volume, resistance and rate up and down; two
mixtures. Their sizes are invented. Everything that is fitted is fitted on `FIT_SEEDS` and judged on others; claims are
about `CLAIMED_SEEDS`, who are looked at when all choices have been made.
"""
from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.circulation.beds import OUTFLOW_mmHg
from plant.circulation.person import Person, Physiology, at_pressure, drawn_person
from plant.circulation.state import SteadyState, steady_states

Samples = NDArray[np.float64]

FIT_SEEDS = range(600)
JUDGED_SEEDS = range(1000, 1300)
CLAIMED_SEEDS = range(7000, 7300)
STATES = (  # factors on stroke volume, resistance and rate
    ("rest", 1.0, 1.0, 1.0), ("more volume", 1.25, 1.0, 1.0), ("less volume", 0.75, 1.0, 1.0),
    ("constricted", 1.0, 1.25, 1.0), ("dilated", 1.0, 0.78, 1.0), ("faster", 1.0, 1.0, 1.25),
    ("slower", 1.0, 1.0, 0.8), ("exertion", 1.2, 0.75, 1.15), ("bleeding", 0.75, 1.25, 1.15),
)
SLOWEST_per_min, FASTEST_per_min = 40.0, 140.0
LOWEST_mmHg, HIGHEST_mmHg = 45.0, 150.0


class Case(NamedTuple):
    """One person in one state."""

    seed: int
    number: int  # of the state
    person: Person
    state: Physiology
    steady: SteadyState


def changed(person: Person, rest: Physiology, volume: float, resistance: float, rate: float) -> Physiology:
    """A state by factors on stroke volume, resistance and rate; mean pressure is what they make, within bounds,
    and stiffens the arteries."""
    beats = min(max(rest.rate_per_min * rate, SLOWEST_per_min), FASTEST_per_min)
    stroke = rest.stroke_mL * volume
    mean = OUTFLOW_mmHg + rest.resistance_mmHg_s_mL * resistance * stroke * beats / 60.0
    state = at_pressure(person, rest, min(max(mean, LOWEST_mmHg), HIGHEST_mmHg))
    return state._replace(rate_per_min=beats, stroke_mL=stroke)


def cases_of(seed: int, numbers: Iterable[int] | None = None) -> Iterator[Case]:
    """A drawn person in the states with those numbers (None: all)."""
    person, rest = drawn_person(seed)
    wanted = list(range(len(STATES)) if numbers is None else numbers)
    states = [changed(person, rest, *STATES[number][1:]) for number in wanted]
    for number, state, steady in zip(wanted, states, steady_states(person, states), strict=True):
        yield Case(seed, number, person, state, steady)
