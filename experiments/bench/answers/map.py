"""Two knobs swept against each other: modulus margin and tracking error, from a coarse grid to a fine one."""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from experiments.bench.answers.kernel import load
from experiments.bench.answers.law import offset_of
from experiments.bench.answers.strips import Target, strips_answer
from experiments.bench.answers.turned import pinned_sections, ready_of
from experiments.bench.asked import Asked, Refused
from experiments.bench.knobs import is_logarithmic, knobs_of
from experiments.bench.setup import pressures, window
from experiments.bench.wire import Answer
from experiments.check.judged import judge_loops, worst_of
from plant.errors import InputError
from plant.messages import value_text

FINEST = 17  # values of each knob on the finest grid
STRIDES = (4, 2, 1)  # of that grid: five values, nine, then all
CHUNK = 12  # points between two looks whether this is still wanted
RUN_s = 4.5


class Axis(NamedTuple):
    """One knob of a map."""

    key: str
    values: tuple[float, ...]


def swept(asked: Asked) -> Iterator[Answer]:
    """The map, some points at a time. Raises Refused for knobs that are none and ranges outside their bounds."""
    axes = [axis_of(asked, name) for name in ("x", "y")]
    if axes[0].key == axes[1].key:
        raise Refused("a map takes two knobs that differ", axes[0].key)
    load(ready_of(asked))
    about = {"x": axes[0]._asdict(), "y": axes[1]._asdict(), "of": FINEST**2}
    points: list[list[float]] = []
    for stride, i, j in order():
        points.append([i, j, *point(asked, {axes[0].key: axes[0].values[i], axes[1].key: axes[1].values[j]})])
        if len(points) == CHUNK:
            yield Answer({**about, "stride": stride, "points": points})
            points = []
    yield Answer({**about, "stride": 1, "points": points})


def order() -> Iterator[tuple[int, int, int]]:
    """(stride, column, row) of every point, each once, coarse grid first."""
    seen: set[tuple[int, int]] = set()
    for stride in STRIDES:
        for j in range(0, FINEST, stride):
            for i in range(0, FINEST, stride):
                if (i, j) not in seen:
                    seen.add((i, j))
                    yield stride, i, j


def axis_of(asked: Asked, name: str) -> Axis:
    """An axis as the page asks for it: `x`, `x_low`, `x_high`."""
    key = asked.options.get(name)
    knob = next((k for k in knobs_of(asked.made()) if k.key == key and k.kind in ("number", "whole")), None)
    if knob is None or knob.low is None or knob.high is None:
        raise Refused(f"{name} = {value_text(key)} is not a number of this rig")
    ends = [asked.options.get(f"{name}_low"), asked.options.get(f"{name}_high")]
    for value in ends:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not knob.low <= value <= knob.high:
            bounds = f"must be a number from {knob.low:g} to {knob.high:g}"
            raise Refused(f"{knob.key} = {value_text(value)} {bounds}", knob.key)
    low, high = (float(value) for value in ends if value is not None)
    if not low < high:
        raise Refused(f"{knob.key}: the range must go upwards, from {low:g} to {high:g}", knob.key)
    spaced = np.geomspace(low, high, FINEST) if is_logarithmic(low, high) else np.linspace(low, high, FINEST)
    rounded = [min(max(float(f"{value:.4g}"), low), high) for value in spaced]
    values = [float(round(v)) for v in rounded] if knob.kind == "whole" else rounded
    return Axis(knob.key, tuple(values))


def point(asked: Asked, settings: dict[str, float]) -> list[float]:
    """Modulus margin (negative: unstable) and rms error [mmHg] at one point; NaN where the rig is not possible."""
    whole = {key for key in settings if isinstance(asked.settings.get(key), int)}
    typed: dict[str, Any] = {k: int(v) if k in whole else v for k, v in settings.items()}
    one = Asked(asked.setup, asked.rig, {**asked.settings, **typed}, offset_mmHg=asked.offset_mmHg,
                volume_error=asked.volume_error)
    try:
        rig = one.made()
        period, target = rig.timing.period_s, Target(asked.offset_mmHg, asked.volume_error)
        mean = {"mean": pressures(asked.setup, period)["mean"]}
        worst = worst_of(judge_loops(rig, mean, offset_of(rig, target))).margins
        margin = worst.modulus_margin if worst.stable else -worst.modulus_margin
        trace = window(asked.setup, period, RUN_s)
        head, _ = strips_answer(rig, trace, target, True, pinned_sections(asked.setup, asked.rig))
    except InputError:
        return [math.nan, math.nan]
    tracked: dict[str, float] = head.get("tracking", {})
    done = head["run"] == "done"
    return [float(margin), tracked.get("rms_mmHg", math.nan) if done else math.nan]
