"""Axes of a sweep, by dotted name: what a person writes, checked against the declarations, and the points they span.

    controller.kp=0.002:0.02:40          low:high:count, both ends included
    controller.kp=0.002:0.02:40:log      the same in equal ratios
    tube.length_m=0,0.3,1.2              a list; a tube of length 0 is no tube
    actuator.kind=direct,flow_inverse    words, where a parameter is a choice
    finger.artery.half_width_mmHg=8:30   of the finger; without a count 21 values, or a range to sample from
"""
from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any, Literal, NamedTuple, get_args, get_origin

import numpy as np

from experiments.rigs.rig import KINDS, PLAIN, Rig, Source
from experiments.rigs.table import kind_of, rig_parts
from experiments.subjects.finger import PARTS, Finger, Fit, LightPath
from plant.declare import Declared, declared
from plant.errors import InputError
from plant.messages import one_line, value_text
from plant.read_number import read_number, read_whole
from plant.validate import validated

USUAL_COUNT = 21
MOST_VALUES = 10_000  # of one axis
MOST_POINTS = 1_000_000
DIGITS = 6  # of a value between the ends of a range
MOST_TEXT = 4000  # characters of one axis
FINGER = "finger"
TABLES_OF_FINGER = ("artery", "vein", "tone")  # which a finger brings along, whole
HOW = "write TABLE.KEY=LOW:HIGH:COUNT, TABLE.KEY=LOW:HIGH:COUNT:log or TABLE.KEY=A,B,C"


class Axis(NamedTuple):
    """One parameter with its values, or with a range to sample from."""

    name: str  # dotted, as written
    unit: str
    meaning: str
    values: tuple[Any, ...]
    low: float = math.nan  # of a range
    high: float = math.nan
    log: bool = False
    whole: bool = False
    present: Any = None  # what the rig has; None where each finger has its own

    @property
    def words(self) -> bool:
        """Whether the values are no numbers."""
        return any(isinstance(v, (str, bool)) for v in self.values)

    @property
    def label(self) -> str:
        """Name and unit, for pictures and tables."""
        return f"{self.name} ({self.unit})" if self.unit not in ("", "1") else self.name

    def at(self, share: float) -> Any:
        """The value at a share (0 … 1) of the way along, for samples."""
        if math.isnan(self.low):
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        if self.log:
            value = self.low * (self.high / self.low) ** share
        else:
            value = self.low + share * (self.high - self.low)
        return round(value) if self.whole else min(max(short_number(value), self.low), self.high)


def short_number(value: float) -> float:
    """A number to DIGITS significant digits, so that a command that holds it can be read."""
    return float(f"{value:.{DIGITS}g}")


def parse_axes(texts: Sequence[str], source: Source, population: bool = False) -> list[Axis]:
    """The axes of a sweep of a rig; with a population, a finger's parameters are changed in each of its fingers.

    Raises InputError naming the axis, the key, the value and what is allowed.
    """
    if not texts:
        raise InputError(f"a sweep needs an axis: {HOW}, for example tube.length_m=0.05:1:20")
    rig = source.rig()
    kinds = [text.partition(".")[0] for text in texts if text.partition("=")[0].strip().endswith(".kind")]
    axes = [_parse(text, rig, source, kinds, population) for text in texts]
    names = [axis.name for axis in axes]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"axis {name} is given twice")
    return axes


def own_finger(rig: Rig) -> Finger:
    """What of a rig belongs to the finger it is on, so that `on_finger` gives the rig again."""
    plant = rig.plant
    light = LightPath(*(getattr(plant.light, field) for field in LightPath._fields))
    return Finger(
        "own", artery=plant.artery, vein=plant.vein, tone=rig.tone, light=light, fit=Fit(plant.tissue.transmission)
    )


def _parse(text: str, rig: Rig, source: Source, kinds: list[str], population: bool) -> Axis:
    said = one_line(text, 80)
    name, equals, right = text.partition("=")
    name, right = name.strip(), right.strip()
    table, dot, key = name.partition(".")
    if not (equals and dot and key and right) or len(text) > MOST_TEXT:
        raise InputError(f"axis {said}: {HOW}")
    if table == FINGER:
        parts = {f"{part}.{p.name}": (part, p) for part, kind in PARTS.items() for p in declared(kind)}
        if key not in parts:
            raise InputError(f"axis {said}: {one_line(name, 60)} is no parameter of a finger; "
                             f"write finger.PART.KEY with a part out of {', '.join(PARTS)}")
        part, parameter = parts[key]
        own = getattr(own_finger(rig), part)
        present = None if population else getattr(own, parameter.name)
        return _axis(text, name, parameter, own, right, present)
    if table not in PLAIN and table not in KINDS:
        known = ", ".join(sorted((*PLAIN, *KINDS, FINGER)))
        raise InputError(f"axis {said}: {one_line(table, 40)} is not a table of a rig; use one of {known}")
    part = rig_parts(rig)[table]
    if key == "kind" and table in KINDS:
        return _kinds(said, table, right, str(kind_of(table, part)))
    if population and (table in TABLES_OF_FINGER or (table == "light" and key in LightPath._fields)
                       or (table, key) == ("tissue", "transmission")):
        home = "fit" if table == "tissue" else table
        raise InputError(f"axis {said}: every finger of the population brings its own {table}.{key}; write "
                         f"finger.{home}.{key} to set it in each of them")
    found = {p.name: p for p in declared(type(part))}
    if key not in found and table in kinds:  # another kind of part may know it
        part = next((k() for k in KINDS[table].values() if key in k._fields), part)  # type: ignore[attr-defined]
        found = {p.name: p for p in declared(type(part))}
    if key not in found:
        raise InputError(f"axis {said}: {one_line(name, 60)} is not a key of this rig; "
                         f"use {table}. and one of {', '.join(found)}")
    return _axis(text, name, found[key], part, right, getattr(rig_parts(rig)[table], key, None))


def _kinds(said: str, table: str, right: str, present: str) -> Axis:
    words = tuple(word.strip() for word in right.split(","))
    for word in words:
        if word not in KINDS[table] and ".py:" not in word:
            allowed = ", ".join(KINDS[table])
            raise InputError(f"axis {said}: {table}.kind = {value_text(word)}: use one of {allowed}, or FILE.py:Class")
    return Axis(f"{table}.kind", "", f"kind of {table}", _different(said, words), present=present)


def _axis(text: str, name: str, parameter: Declared, part: Any, right: str, present: Any) -> Axis:
    said, whole = one_line(text, 80), parameter.kind is int
    bare = Axis(name, parameter.unit, parameter.meaning, (), whole=whole, present=present)
    if parameter.kind is bool or get_origin(parameter.kind) is Literal:
        words = {"true": True, "false": False} if parameter.kind is bool else {w: w for w in get_args(parameter.kind)}
        for word in (w.strip() for w in right.split(",")):
            if word not in words:
                raise InputError(f"axis {said}: {name} = {value_text(word)}: use one of {', '.join(words)} "
                                 f"({parameter.meaning})")
        return bare._replace(values=_different(said, tuple(words[w.strip()] for w in right.split(","))))
    if ":" not in right:
        values = tuple(_number(said, name, cell, whole) for cell in right.split(","))
    else:
        bare, values = _range(said, bare, right)
    for value in values:
        if not (name == "tube.length_m" and value == 0.0):  # which is no tube
            table, _, key = name.rpartition(".")
            validated(type(part), {**part._asdict(), key: value}, f"axis {said}", table)
    return bare._replace(values=_different(said, values))


def _range(said: str, axis: Axis, right: str) -> tuple[Axis, tuple[Any, ...]]:
    cells = right.split(":")
    log = cells[-1].strip() == "log"
    cells = cells[:-1] if log else cells
    if len(cells) not in (2, 3):
        raise InputError(f"axis {said}: {HOW}")
    low, high = (_number(said, axis.name, cell, axis.whole) for cell in cells[:2])
    count = _number(said, "COUNT", cells[2], True) if len(cells) == 3 else USUAL_COUNT
    if not 2 <= count <= MOST_VALUES:
        raise InputError(f"axis {said}: COUNT = {count} must be from 2 to {MOST_VALUES}")
    if not (low < high and math.isfinite(high - low)):
        raise InputError(f"axis {said}: LOW = {low:g} must be below HIGH = {high:g}")
    if log and low <= 0:
        raise InputError(f"axis {said}: LOW = {low:g} must be above 0 for equal ratios")
    spread = np.geomspace(low, high, count) if log else np.linspace(low, high, count)
    values = tuple(dict.fromkeys(round(v) for v in spread)) if axis.whole else \
        (low, *(short_number(v) for v in spread[1:-1]), high)
    return axis._replace(low=low, high=high, log=log), values


def _number(said: str, name: str, cell: str, whole: bool) -> Any:
    try:
        value = read_whole(cell) if whole else read_number(cell)
    except ValueError:
        kind = "a whole number" if whole else "a number"
        raise InputError(f"axis {said}: {name} = {value_text(cell.strip())} must be {kind}") from None
    if not math.isfinite(value):
        raise InputError(f"axis {said}: {name} = {value_text(cell.strip())} must be finite")
    return value


def _different(said: str, values: tuple[Any, ...]) -> tuple[Any, ...]:
    if len(values) > MOST_VALUES:
        raise InputError(f"axis {said}: {len(values)} values are more than {MOST_VALUES}")
    if len(set(values)) < len(values):
        raise InputError(f"axis {said}: a value is given twice")
    return values


def grid_points(axes: Sequence[Axis]) -> list[tuple[Any, ...]]:
    """Every combination of the axes' values, the last axis running fastest. Raises InputError above a million."""
    count = math.prod(len(axis.values) for axis in axes)
    if count > MOST_POINTS:
        raise InputError(f"the axes span {count} points, at most {MOST_POINTS} are computed; take fewer values, or "
                         "--sample N")
    return list(itertools.product(*(axis.values for axis in axes)))


def sample_points(axes: Sequence[Axis], count: int, seed: int) -> list[tuple[Any, ...]]:
    """Scrambled Sobol points (Sobol 1967; Owen 1998) over the axes' ranges; a longer sample begins with the shorter.

    Raises InputError for a count outside 1 … 1,000,000.
    """
    from scipy.stats import qmc

    if not 1 <= count <= MOST_POINTS:
        raise InputError(f"--sample {count} must be from 1 to {MOST_POINTS}")
    points = qmc.Sobol(len(axes), scramble=True, seed=np.random.Generator(np.random.PCG64(seed)))
    shares = points.random_base2(math.ceil(math.log2(count)))[:count]
    return [tuple(axis.at(float(s)) for axis, s in zip(axes, row, strict=True)) for row in shares]
