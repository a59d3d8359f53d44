"""A person by age, sex, height and weight: what the heart does, and what the arteries are like.

Means and scatter by age are published ones, read second-hand in the documentation of the pulse-wave repository named in
`geometry.py`: stroke volume, heart rate and mean pressure (McEniery and others 2005), carotid–femoral velocity
(Reference Values 2010), aortic diameter (+18 % from 25 to 75 years). Size goes by body surface (DuBois & DuBois 1916).
"""
from __future__ import annotations

import math
from typing import Annotated, Literal, NamedTuple

import numpy as np

from plant.bounds import check_bounds
from plant.circulation.beds import Beds, OUTFLOW_mmHg
from plant.circulation.geometry import ARTERIES, Artery, HEIGHT_m
from plant.circulation.line import speed_m_s, stiffness_Pa
from plant.circulation.network import Scale, all_responses, aortic
from plant.declare import quantity
from plant.errors import InputError

Sex = Literal["f", "m"]
USUAL_HEIGHT_cm = {"f": 164.0, "m": 177.0}  # invented round numbers, like the next
USUAL_MASS_INDEX = 24.0  # kg/m²
REFERENCE_AREA_m2 = 1.9  # body surface of the man of the published means
AREA_EXPONENT = 0.5  # of radii: calibre squared goes with body surface (common practice)
LOW_mmHg, HIGH_mmHg = 90.0, 127.0  # mean pressure of 115/77 and of 170/105, at a third of the pulse
HAND_TONE = 0.7  # log of the hand's resistance by unit of vasomotor tone (invented)
BED_TIME_s = 0.03  # R·C of the beds, and of forearm and hand; both chosen so that aorta to upper arm comes close to
ARM_BED_TIME_s = 1.0  # the transfer functions of Karamanoglu and others (Eur Heart J 1993;14:160)
TO_NECK, TO_GROIN = (1, 2, 15), (1, 2, 14, 18, 27, 28, 35, 37, 39, 41, 42, 44)
NECK_SHARE = 0.7  # of the common carotid before the place where its pulse is felt (invented)


class Person(NamedTuple):
    """Who wears the cuff."""

    age_years: Annotated[float, quantity("years", 18, 95, "age", "scenario")] = 45.0
    female: Annotated[float, quantity("1", 0, 1, "1 for a woman, 0 for a man", "scenario")] = 1.0
    height_cm: Annotated[float, quantity("cm", 120, 220, "height", "invented")] = USUAL_HEIGHT_cm["f"]
    weight_kg: Annotated[float, quantity("kg", 30, 250, "weight", "invented")] = 65.0
    gradient_mmHg: Annotated[
        float, quantity("mmHg", -40, 40, "finger minus network: what no arm of tubes explains",
                        "invented: published finger pressures scatter 7–13 mmHg about the arm's")
    ] = 0.0

    @property
    def sex(self) -> Sex:
        """f or m."""
        return "f" if self.female >= 0.5 else "m"


class Physiology(NamedTuple):
    """What the heart and the vessels of somebody do, at rest or not."""

    rate_per_min: Annotated[float, quantity("1/min", 30, 200, "heart rate", "75 ± 11")] = 75.0
    stroke_mL: Annotated[float, quantity("mL", 10, 200, "stroke volume", "72.6 − 0.2525 age in a man")] = 61.0
    mean_mmHg: Annotated[float, quantity("mmHg", 40, 200, "mean aortic pressure", "88 to 95 with age, ± 8")] = 91.0
    velocity_m_s: Annotated[
        float, quantity("m/s", 3, 25, "pulse wave velocity, carotid to femoral", "5.55 + 0.00083 age²")
    ] = 7.2
    aorta: Annotated[float, quantity("1", 0.6, 1.8, "factor on the aorta's radius", "+18 % from 25 to 75 y")] = 1.07
    store: Annotated[float, quantity("1", 0.3, 2.5, "factor on the beds' compliance", "scatter 27 %")] = 1.0
    tone: Annotated[float, quantity("1", -2, 3, "vasomotor tone of hand and finger", "0 by definition")] = 0.0
    ejection: Annotated[float, quantity("1", 0.7, 1.4, "factor on ejection time", "scatter 4–5 %")] = 1.0
    peak: Annotated[float, quantity("1", 0.15, 0.5, "share of ejection at which flow peaks", "79 ms of 280")] = 0.28

    @property
    def output_L_min(self) -> float:
        """Cardiac output."""
        return 1e-3 * self.stroke_mL * self.rate_per_min

    @property
    def resistance_mmHg_s_mL(self) -> float:
        """From aortic mean pressure to where flow stops."""
        return (self.mean_mmHg - OUTFLOW_mmHg) * 60.0 / (self.stroke_mL * self.rate_per_min)


def person_of(
    age_years: float, sex: Sex, height_cm: float | None = None, weight_kg: float | None = None, label: str = ""
) -> Person:
    """A person of usual size where none is given. Raises InputError out of bounds."""
    height = USUAL_HEIGHT_cm[sex] if height_cm is None else height_cm
    weight = USUAL_MASS_INDEX * (0.01 * height) ** 2 if weight_kg is None else weight_kg
    person = Person(age_years, 1.0 if sex == "f" else 0.0, height, weight)
    check_bounds(person, label)
    return person


def body_surface_m2(height_cm: float, weight_kg: float) -> float:
    """0.007184 · weight^0.425 · height^0.725 (DuBois & DuBois, Arch Intern Med 1916;17:863)."""
    return float(0.007184 * weight_kg**0.425 * height_cm**0.725)


def velocity_m_s(age_years: float, mean_mmHg: float) -> float:
    """Usual carotid–femoral velocity: straight line in mean pressure between two groups of Reference Values 2010.

    The arteries stiffen with the pressure in them: 5.55 + 0.00083 age² at 115/77, 5.73 + 0.044 age + 0.00085 age² at
    170/105 mmHg.
    """
    low, high = 5.55 + 0.83e-3 * age_years**2, 5.73 + 0.044 * age_years + 0.85e-3 * age_years**2
    return max(low + (high - low) * (mean_mmHg - LOW_mmHg) / (HIGH_mmHg - LOW_mmHg), 0.6 * low)


def at_pressure(person: Person, state: Physiology, mean_mmHg: float) -> Physiology:
    """The same arteries at another mean pressure: stiffer or softer as is usual at that age."""
    factor = velocity_m_s(person.age_years, mean_mmHg) / velocity_m_s(person.age_years, state.mean_mmHg)
    return state._replace(mean_mmHg=mean_mmHg, velocity_m_s=state.velocity_m_s * factor)


def usual_physiology(person: Person) -> Physiology:
    """What is usual at that age, sex and size."""
    area = body_surface_m2(person.height_cm, person.weight_kg) / REFERENCE_AREA_m2
    age = person.age_years
    return Physiology(
        rate_per_min=75.0 + 2.0 * (person.female - 0.5), stroke_mL=(72.6 - 0.2525 * age) * area,
        mean_mmHg=88.0 + 0.14 * (age - 25.0), velocity_m_s=velocity_m_s(age, 88.0 + 0.14 * (age - 25.0)),
        aorta=1.0 + 0.0036 * (age - 25.0),
    )


def drawn_physiology(person: Person, random: np.random.Generator) -> Physiology:
    """Somebody of that age, sex and size, scattered as people are."""
    usual, z = usual_physiology(person), np.clip(random.standard_normal(9), -2.3, 2.3)
    usual = at_pressure(person, usual, usual.mean_mmHg + 8.0 * float(z[2]))
    return usual._replace(
        rate_per_min=usual.rate_per_min + 11.0 * float(z[0]), stroke_mL=usual.stroke_mL * math.exp(0.2 * float(z[1])),
        velocity_m_s=usual.velocity_m_s * math.exp((0.1 + 0.001 * (person.age_years - 25.0)) * float(z[3])),
        aorta=usual.aorta * (1.0 + 0.089 * float(z[4])), store=math.exp(0.27 * float(z[5])),
        ejection=1.0 + 0.045 * float(z[6]), peak=0.28 * (1.0 + 0.1 * float(z[7])), tone=0.3 * float(z[8]),
    )


def drawn_person(seed: int) -> tuple[Person, Physiology]:
    """Somebody between 20 and 80. The same seed gives the same."""
    random = np.random.Generator(np.random.PCG64(seed))
    sex: Sex = "f" if random.uniform() < 0.5 else "m"
    age = float(random.uniform(20.0, 80.0))
    height = USUAL_HEIGHT_cm[sex] + 6.8 * float(np.clip(random.standard_normal(), -2.5, 2.5))
    index = float(np.clip(25.0 + 3.5 * random.standard_normal(), 18.0, 36.0))
    person = person_of(age, sex, height, index * (0.01 * height) ** 2)
    return person, drawn_physiology(person, random)


def _way_s(numbers: tuple[int, ...], scale: Scale) -> tuple[float, float]:
    """Length [m] and time [s] of a wave without losses along arteries; of the last of the neck only a part."""
    by_number: dict[int, Artery] = {a.number: a for a in ARTERIES}
    length = passed = 0.0
    for number in numbers:
        one = by_number[number]
        share = NECK_SHARE if number == 15 else 1.0
        radius = 0.5 * (one.inlet_radius_m + one.outlet_radius_m) * scale.radius * (scale.aorta if aortic(one) else 1.0)
        own = one.length_m * scale.length * share
        length += own
        passed += own / float(speed_m_s(stiffness_Pa(np.array([radius]), scale.large_Pa))[0])
    return length, passed


def carotid_femoral_m_s(scale: Scale) -> float:
    """Velocity from neck to groin as it is measured: difference of lengths by difference of times."""
    (near, early), (far, late) = _way_s(TO_NECK, scale), _way_s(TO_GROIN, scale)
    return (far - near) / (late - early)


def scale_of(person: Person, state: Physiology) -> Scale:
    """The arteries of a person; their stiffness gives the wanted velocity. Raises InputError when none does."""
    area = body_surface_m2(person.height_cm, person.weight_kg) / REFERENCE_AREA_m2
    scale = Scale(0.01 * person.height_cm / HEIGHT_m, area**AREA_EXPONENT, state.aorta, 0.0)
    low, high = 1e3, 3e6
    wanted = state.velocity_m_s**2  # nearly a straight line in the stiffness: a secant that stays within its bounds
    at_low, at_high = (carotid_femoral_m_s(scale._replace(large_Pa=k)) ** 2 - wanted for k in (low, high))
    if not at_low < 0.0 < at_high:
        raise InputError(f"Physiology.velocity_m_s = {state.velocity_m_s:g} m/s cannot be had with these arteries")
    middle = low
    for _ in range(60):
        middle = low - at_low * (high - low) / (at_high - at_low)
        at_middle = carotid_femoral_m_s(scale._replace(large_Pa=middle)) ** 2 - wanted
        if abs(at_middle) < 1e-13 * wanted:
            break
        if at_middle < 0.0:
            low, at_low, at_high = middle, at_middle, 0.5 * at_high  # halved: the other end moves, too (Illinois)
        else:
            high, at_high, at_low = middle, at_middle, 0.5 * at_low
    return scale._replace(large_Pa=middle)


def beds_of(scale: Scale, state: Physiology) -> Beds:
    """The beds with which the mean pressure comes out: the arteries themselves take a part of it.

    Tone of the hand is the hand's alone: it does not change the sum that the mean pressure is held with.
    """
    return all_beds([scale], [state])[0]


def all_beds(scales: list[Scale], states: list[Physiology]) -> list[Beds]:
    """The same of several circulations at once. Raises InputError."""
    none, wanted = np.zeros(1), np.array([state.resistance_mmHg_s_mL for state in states])
    found, before = np.full((2, len(states)), np.nan)
    step, slope, open_ = np.zeros(len(states)), np.ones(len(states)), np.ones(len(states), bool)
    beds = [Beds(float(r), BED_TIME_s * state.store, ARM_BED_TIME_s * state.store, 1.0)
            for r, state in zip(wanted, states, strict=True)]
    for _ in range(8):
        rows = np.flatnonzero(open_)
        if not len(rows):
            break
        got = all_responses([(scales[k], beds[k], none) for k in rows], False)
        found[rows] = [float(one.root[0].real) for one in got]
        moved = open_ & np.isfinite(before) & (np.abs(step) > 1e-6 * wanted)  # below, the difference is rounding
        slope = np.where(moved, (found - before) / np.where(moved, step, 1.0), slope)
        step = np.where(open_, (wanted - found) / slope, step)
        before = found.copy()
        open_ &= np.abs(step) >= 1e-12 * wanted
        for k in np.flatnonzero(open_):
            beds[k] = beds[k]._replace(resistance_mmHg_s_mL=beds[k].resistance_mmHg_s_mL + float(step[k]))
    for one, state in zip(beds, states, strict=True):
        if not one.resistance_mmHg_s_mL > 0.0:
            raise InputError(f"Physiology.mean_mmHg = {state.mean_mmHg:g} mmHg is too low for that flow")
    return [one._replace(hand=math.exp(HAND_TONE * state.tone)) for one, state in zip(beds, states, strict=True)]
