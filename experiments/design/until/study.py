"""How far a number of a rig may go, either way, until a limit of its requirements breaks, and which one: solved for.

From the present value outward in growing steps to a first value that breaks a limit, then Brent's method (Brent 1973,
from SciPy) on the room to the nearest limit. The room is that of the worst loop, side and slope error, as in `check`.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

from experiments.check.judged import judge_loops, margin_figures, over_slope_error, with_effort
from experiments.design.sweep.axes import FINGER, own_finger
from experiments.design.sweep.piece import changed, finger_with
from experiments.rigs.requirements import FIGURES
from experiments.rigs.rig import KINDS, PLAIN, Rig, Source
from experiments.rigs.slope_error import usual_slope_error
from experiments.rigs.table import rig_parts
from experiments.subjects.finger import PARTS, on_finger
from plant.declare import Declared, declared
from plant.errors import InputError
from plant.messages import one_line
from plant.pressure.record import PressureTrace

FIRST, GROWTH = 0.02, 1.6  # first step as a share of the present value (or of the range), and how steps grow
MOST_STEPS = 60
NEAR_ZERO = 1e-2  # of the present value, below which the next step goes to the end
PRECISION = 1e-4  # of the value found, as a share of it
FAR = 10.0  # largest room that is told from another
STABILITY = "stability"


class Number(NamedTuple):
    """A number of a rig."""

    name: str  # dotted
    unit: str
    meaning: str
    present: float
    low: float  # of what is allowed
    high: float
    whole: bool


class Room(NamedTuple):
    """How far the rig at one value is inside its limits, as a share of each; negative outside."""

    value: float
    rooms: dict[str, float]  # by limit
    figures: dict[str, float]
    reason: str = ""  # why there is no rig at this value

    @property
    def least(self) -> float:
        """The room to the nearest limit; −1 where there is no rig."""
        return -1.0 if self.reason else min(self.rooms.values())

    @property
    def nearest(self) -> str:
        """That limit."""
        return self.reason or min(self.rooms, key=lambda name: self.rooms[name])


class Edge(NamedTuple):
    """Where a direction ends."""

    value: float
    breaks: str  # the limit; empty where none breaks up to the end of what is allowed
    figure: float  # its figure there, beyond the limit by rounding
    cannot: bool  # whether no rig can be had beyond, for the reason in `breaks`


class Until(NamedTuple):
    """What was found."""

    number: Number
    present: Room
    below: Edge | None  # None where a limit is broken already
    above: Edge | None
    tried: tuple[Room, ...]  # in the order of their values
    limits: dict[str, tuple[str, float]]  # by name: min or max, and the value allowed


def number_of(source: Source, name: str) -> Number:
    """The number of that dotted name. Raises InputError for a name that no rig has, or that is no number."""
    said = one_line(name, 60)
    table, dot, key = name.strip().partition(".")
    if not (dot and key):
        raise InputError(f"--until {said}: write TABLE.KEY, for example tube.length_m")
    rig = source.rig()
    if table == FINGER:
        found = {f"{part}.{p.name}": (getattr(own_finger(rig), part), p) for part, kind in PARTS.items()
                 if part not in ("pressure", "wearer") for p in declared(kind)}
        told = f"finger.PART.KEY with a part out of {', '.join(p for p in PARTS if p not in ('pressure', 'wearer'))}"
    elif table in PLAIN or table in KINDS:
        part = rig_parts(rig)[table]
        found = {p.name: (part, p) for p in declared(type(part))}
        told = f"{table}. and one of {', '.join(found)}"
    else:
        raise InputError(f"--until {said}: {one_line(table, 40)} is not a table of a rig; use one of "
                         f"{', '.join(sorted((*PLAIN, *KINDS, FINGER)))}")
    if key not in found:
        raise InputError(f"--until {said}: not a number of this rig; use {told}")
    part, parameter = found[key]
    return _number(said, name.strip(), part, parameter)


def _number(said: str, name: str, part: Any, parameter: Declared) -> Number:
    value = getattr(part, parameter.name)
    if parameter.kind not in (int, float) or isinstance(value, bool) or parameter.low is None or parameter.high is None:
        raise InputError(f"--until {said}: {value!r} is no number that can be moved ({parameter.meaning})")
    return Number(name, parameter.unit, parameter.meaning, float(value), float(parameter.low), float(parameter.high),
                  parameter.kind is int)


def rig_at(source: Source, number: Number, value: float) -> Rig:
    """The rig with that number. Raises InputError."""
    given = round(value) if number.whole else value
    rig = changed(source, (number.name,), (given,)).rig()
    if number.name.startswith(f"{FINGER}."):
        rig = on_finger(rig, finger_with(own_finger(rig), (number.name,), (given,)))
    return rig


def until(
    source: Source, name: str, limits: dict[str, dict[str, float]], pressures_mmHg: dict[str, float],
    trace: PressureTrace, progress: Callable[[float], None] | None = None,
) -> Until:
    """How far a number can go either way. Limits are requirements; those that margins alone cannot tell do not count.

    `trace` is the pressure that the command's activity is judged on. Raises InputError as `number_of` does.
    """
    number = number_of(source, name)
    known: dict[str, tuple[str, float]] = {}
    tried: dict[float, Room] = {}

    def room(value: float) -> Room:
        value = float(round(value)) if number.whole else value
        if value not in tried:
            tried[value] = _room(source, number, value, limits, pressures_mmHg, trace)
        return tried[value]

    present = room(number.present)
    if present.reason:
        raise InputError(present.reason)
    for figure, bounds in limits.items():
        known |= {f"{figure}.{kind}": (kind, bound) for kind, bound in bounds.items() if figure in present.figures}
    below = above = None
    if present.least >= 0.0:
        below = _edge(number, room, number.low)
        if progress is not None:
            progress(0.5)
        above = _edge(number, room, number.high)
    return Until(number, present, below, above, tuple(tried[v] for v in sorted(tried)), known)


def _room(
    source: Source, number: Number, value: float, limits: dict[str, dict[str, float]],
    pressures_mmHg: dict[str, float], trace: PressureTrace,
) -> Room:
    try:
        rig = rig_at(source, number, value)
        loops = judge_loops(rig, pressures_mmHg)
        loops = over_slope_error(loops, rig, next(iter(pressures_mmHg.values())), usual_slope_error(rig))
        if number.name == "timing.period_s":
            from experiments.subjects.finger import finger_pressure

            trace = finger_pressure(own_finger(rig)._replace(seed=1), rig.timing.period_s, trace.duration_s)
        figures = margin_figures(with_effort(loops, rig, trace))
    except InputError as error:
        return Room(value, {}, {}, str(error))
    every = [m for j in loops for m in (j.margins, *j.spread)]
    rooms = {STABILITY: min(m.modulus_margin if m.stable else -max(m.modulus_margin, 1e-3) for m in every)}
    for figure, bounds in limits.items():
        for kind, bound in bounds.items():
            if figure in figures:
                rooms[f"{figure}.{kind}"] = _share(figures[figure], kind, bound)
    return Room(value, rooms, figures)


def _share(found: float, kind: str, bound: float) -> float:
    """Room of a figure as a share of its limit, within FAR; of a share of ticks by its decimal logarithm."""
    if math.isnan(found):
        return -1.0
    room = (found - bound if kind == "min" else bound - found) / (abs(bound) or 1.0)
    return min(max(room, -FAR), FAR)


def _edge(number: Number, room: Callable[[float], Room], end: float) -> Edge:
    """Where the first limit breaks on the way from the present value to one end of what is allowed."""
    start = number.present
    if start == end:
        return Edge(end, "", math.nan, False)
    sign = 1.0 if end > start else -1.0
    size = abs(start) if start != 0.0 else 0.05 * (number.high - number.low)
    step = max(FIRST * size, 1.0 if number.whole else 0.0)
    good = start
    for _ in range(MOST_STEPS):
        bad = good + sign * step
        if sign < 0.0 < good and number.low >= 0.0 and not number.whole:
            bad = max(bad, 0.5 * good)  # in ratios towards zero
            bad = bad if bad > NEAR_ZERO * size else end
        bad = max(bad, end) if sign < 0.0 else min(bad, end)
        if room(bad).least < 0.0:
            return _solved(number, room, good, bad)
        good, step = bad, GROWTH * step
        if good == end or abs(good - end) < 1e-9 * max(size, 1e-12):
            break
    return Edge(good, "", math.nan, False)


def _solved(number: Number, room: Callable[[float], Room], good: float, bad: float) -> Edge:
    """The edge between a value that keeps all limits and one that breaks one."""
    from scipy.optimize import brentq

    if number.whole:
        while abs(bad - good) > 1.0:
            middle = float(round(0.5 * (good + bad)))
            good, bad = (middle, bad) if room(middle).least >= 0.0 else (good, middle)
        first = bad
    else:
        first = float(brentq(lambda v: room(v).least, good, bad, xtol=PRECISION * max(abs(good), abs(bad)), rtol=1e-6))
    broken = room(first)
    if broken.least >= 0.0:  # brentq ends on either side: what breaks is what is nearest there
        beyond = first + (bad - first) * 1e-3 + math.copysign(PRECISION * max(abs(first), 1e-12), bad - first)
        broken = room(beyond) if room(beyond).least < 0.0 else room(bad)
    figure = broken.figures.get(broken.nearest.rpartition(".")[0], math.nan)
    return Edge(first, broken.nearest, figure, bool(broken.reason))


def limit_words(name: str, limits: dict[str, tuple[str, float]]) -> str:
    """A limit as people write it."""
    figure, _, _ = name.rpartition(".")
    if name not in limits:
        return name
    kind, bound = limits[name]
    unit = FIGURES[figure][0]
    return f"{FIGURES[figure][1].split(',')[0]} {'≥' if kind == 'min' else '≤'} {bound:g} {unit}".rstrip()
