"""The knobs of a rig, made from its parts' declarations: what may be set from the page, and between which bounds."""
from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal, get_args, get_origin

from experiments.rigs.rig import KINDS, Rig, left_to_tool
from experiments.rigs.table import kind_of, rig_parts
from plant.declare import Declared, declared

FEATURED = (  # what decides most; the first twelve that a rig has stand open, see `featured`
    "controller.kp", "controller.ti_s", "controller.td_s", "controller.filter_ratio", "controller.lead_zero_Hz",
    "timing.dead_time_s", "tube.length_m", "tube.diameter_mm", "valve.natural_frequency_Hz", "valve.conductance",
    "valve.outlet_resistance_mmHg_s_mL", "cuff.volume_mL", "segment.length_mm", "tone.level", "light.bandwidth_Hz",
    "transducer.bandwidth_Hz",
)
OPEN_AT_ONCE = 12
WIDEST = 20.0  # of a slider, either way of the value that the rig file has
DECADE = 10.0  # bounds further apart than this, both above zero, make a logarithmic slider


@dataclass(frozen=True)
class Knob:
    """One parameter as the page shows it."""

    key: str  # table.name
    label: str  # the same in words, without the unit
    unit: str
    meaning: str
    source: str
    kind: str  # number, whole, switch or choice
    value: float | bool | str
    low: float | None = None
    high: float | None = None
    slider_low: float | None = None  # the slider's own reach, inside the bounds
    slider_high: float | None = None
    logarithmic: bool = False
    choices: tuple[str, ...] = ()
    note: str = ""  # where the value comes from when it is left to the tool

    def plain(self) -> dict[str, Any]:
        """As data for the page."""
        return asdict(self)


def knobs_of(rig: Rig) -> list[Knob]:
    """Every knob of a rig, table by table, kinds first. Values are those that the rig runs with."""
    found: list[Knob] = []
    for table, part in rig_parts(rig).items():
        kind = kind_of(table, part)
        if kind is not None:
            choices = tuple(KINDS[table]) if kind in KINDS[table] else (kind, *KINDS[table])
            words = (f"{table}.kind", f"{table} · kind", "", f"kind of {table}", "")
            found.append(Knob(*words, "choice", kind, choices=choices))
        for parameter in declared(type(part)):
            if parameter.low is None or parameter.low != parameter.high:
                found.append(_knob(rig, table, parameter, getattr(part, parameter.name)))
    return found


def _knob(rig: Rig, table: str, parameter: Declared, value: Any) -> Knob:
    key, unit = f"{table}.{parameter.name}", "" if parameter.unit == "1" else parameter.unit
    words = (key, f"{table.replace('_', ' ')} · {spoken_name(parameter)}", unit, parameter.meaning, parameter.source)
    note = "follows from the rest of the rig" if left_to_tool(rig, table, parameter.name) else ""
    if parameter.kind is bool:
        return Knob(*words, "switch", bool(value), note=note)
    if get_origin(parameter.kind) is Literal:
        return Knob(*words, "choice", str(value), choices=tuple(str(w) for w in get_args(parameter.kind)), note=note)
    assert parameter.low is not None and parameter.high is not None
    low, high = float(parameter.low), float(parameter.high)
    reach = slider_reach(float(value), low, high)
    kind = "whole" if parameter.kind is int else "number"
    return Knob(*words, kind, value, low, high, *reach, logarithmic=is_logarithmic(*reach), note=note)


def spoken_name(parameter: Declared) -> str:
    """A parameter's name with blanks and without its unit, which stands beside its value."""
    ending = "_" + re.sub(r"[/·]", "_", re.sub(r"[()]", "", parameter.unit)).replace("°", "deg").replace("%", "percent")
    return parameter.name.removesuffix(ending).replace("_", " ")


def slider_reach(value: float, low: float, high: float) -> tuple[float, float]:
    """The part of the bounds that a slider covers: a factor of WIDEST either way of the value, where bounds are wider.

    What lies beyond can be typed. Bounds from zero to far above the value span decades, too: its slider ends above
    zero, for on even steps the value would stand at its very beginning.
    """
    if value > 0.0:
        wide = low > 0.0 or (low == 0.0 and high >= value * WIDEST)
        return (max(low, value / WIDEST) if wide else low), min(high, value * WIDEST)
    return low, high


def is_logarithmic(low: float, high: float) -> bool:
    """Whether a slider between these counts in equal ratios."""
    return low > 0.0 and high / low > DECADE and math.isfinite(high)


def featured(knobs: Sequence[Knob]) -> list[str]:
    """Keys of the knobs that stand open before anybody searches."""
    present = {knob.key for knob in knobs}
    return [key for key in FEATURED if key in present][:OPEN_AT_ONCE]
