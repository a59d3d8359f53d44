"""A sweep whose firmware is somebody's: the same code at every point, run against the plant that the point names.

There is no law to take margins of, so every point is a run, with the figures of tracking and what was found.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from experiments.design.sweep.axes import Axis
from experiments.design.sweep.piece import (
    TRACKING,
    Case,
    Figure,
    changed,
    on_its_finger,
    pressure_of,
    tracking_row,
)
from experiments.design.sweep.verdict import Limit, value_word
from experiments.firmware.foreign.host import Host
from experiments.firmware.foreign.watch import run_foreign
from experiments.simulation.simulate import plan_at_rest, prepare
from experiments.subjects.finger import Finger
from experiments.work.output import CAUTION
from experiments.work.style import BLUE, ORANGE, new_figure, stamp, tidy
from plant.errors import InputError

OF_LAW = ("controller", "actuator", "filling")  # tables of a rig that somebody's firmware replaces
FINDINGS = Figure("1", "findings in the firmware", "max")
FIGURES: dict[str, Figure] = {"findings": FINDINGS} | TRACKING
SHOWN = {"rms_error_mmHg": "rms", "peak_error_mmHg": "peak", "beat_systolic_mean_mmHg": "systolic",
         "saturation_share": "at a limit", "cuff_mmHg": "highest"}


class Point(NamedTuple):
    """What came of a point."""

    values: tuple[Any, ...]  # one an axis
    figures: dict[str, float]  # by FIGURES; NaN where there is none
    findings: list[str]
    reason: str  # why it could not be had, empty where it was


@dataclass(frozen=True)
class ForeignSweep:
    """What `cuffloop sweep --firmware` found."""

    case: Case
    axes: tuple[Axis, ...]
    firmware: str
    finger: str  # empty: the rig's own
    points: list[Point]
    limits: list[Limit]

    def keeps(self, point: Point) -> bool:
        """Whether a point was run to its end without a finding and keeps every limit."""
        whole = point.figures["findings"] == 0.0 and point.figures["run_done"] == 1.0
        return whole and all(limit.low <= point.figures[limit.name] <= limit.high for limit in self.limits)

    @property
    def kept(self) -> list[Point]:
        """Points that keep all."""
        return [point for point in self.points if self.keeps(point)]

    def lines(self) -> list[str]:
        """A line a point."""
        who = f" on finger {self.finger}" if self.finger else ""
        labels = [" ".join(_short(value) for value in point.values) for point in self.points]
        width = max(12, *(len(label) for label in labels)) + 2
        lines = [f"firmware {self.firmware}, unchanged, against {self.case.source.tables.get('name', '')}{who} with "
                 f"{', '.join(axis.name for axis in self.axes)} changed; margins, of the rig's law, are left out", "",
                 " " * width + "".join(f"{head:>11}" for head in SHOWN.values()),
                 " " * width + "".join(f"{TRACKING[name].unit if TRACKING[name].unit != '1' else '':>11}"
                                       for name in SHOWN)]
        for label, point in zip(labels, self.points, strict=True):
            if point.reason:
                lines.append(f"{label:<{width}}  cannot be had: {point.reason}")
                continue
            note = f"  FINDING {'; '.join(point.findings)}" if point.findings else \
                "  keeps all" if self.keeps(point) else f"  misses {', '.join(self._missed(point))}"
            lines.append(f"{label:<{width}}" + "".join(f"{point.figures[name]:>11.3g}" for name in SHOWN) + note)
        told = ", ".join(limit.text for limit in self.limits) or "no limit was given"
        return [*lines, "", f"{len(self.kept)} of {len(self.points)} points run without a finding and keep: {told}",
                CAUTION]

    def _missed(self, point: Point) -> list[str]:
        words = [] if point.figures["run_done"] == 1.0 else ["the clamp, which does not hold"]
        return words + [limit.short for limit in self.limits
                        if not limit.low <= point.figures[limit.name] <= limit.high]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "firmware": self.firmware, "rig": self.case.source.tables.get("name", ""),
            "tables": self.case.source.tables, "finger": self.finger or None,
            "axes": {axis.name: {"unit": axis.unit, "meaning": axis.meaning} for axis in self.axes},
            "record": self.case.trace.name if self.case.trace else None,
            "figures": {name: figure._asdict() for name, figure in FIGURES.items()},
            "limits": [limit.text for limit in self.limits], "points_that_keep_all": len(self.kept),
            "points": [{"settings": self.settings(point), **point._asdict(), "keeps_limits": self.keeps(point)}
                       for point in self.points],
        }

    def settings(self, point: Point) -> list[str]:
        """A point's values as one writes them on a command line."""
        return [f"{axis.name}={value_word(value)}" for axis, value in zip(self.axes, point.values, strict=True)]


def _short(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else value_word(value)


def refuse_axes_of_law(axes: Sequence[Axis]) -> None:
    """Raise InputError for an axis of the rig's own law."""
    for axis in axes:
        table = axis.name.partition(".")[0]
        if table in OF_LAW:
            raise InputError(f"axis {axis.name}: is of the rig's own law, which this firmware replaces; with "
                             "--firmware sweep what is outside it, such as tube.length_m, timing.dead_time_s or "
                             "finger.artery.half_width_mmHg")


def run_points(
    case: Case, points: Sequence[tuple[Any, ...]], finger: Finger | None, given: Path,
    progress: Callable[[float], None] | None = None,
) -> list[Point]:
    """Run a firmware at each point, one after the other. Raises InputError for one that cannot be built or begun."""
    found = []
    with Host() as host:
        for number, values in enumerate(points):
            found.append(_run_point(case, values, finger, given, host))
            if progress is not None:
                progress((number + 1) / len(points))
    if all(point.reason for point in found):
        raise InputError(f"no point of the sweep can be had: {found[0].reason}")
    return found


def _run_point(case: Case, values: tuple[Any, ...], finger: Finger | None, given: Path, host: Host) -> Point:
    nothing = dict.fromkeys(FIGURES, math.nan)
    try:
        rig = on_its_finger(case, finger, values, changed(case.source, case.names, values).rig())
        trace = pressure_of(case, finger, values, rig)
        ready = prepare(rig, trace, plan_at_rest(trace.duration_s), case.seed if finger is None else finger.seed)
    except InputError as error:
        return Point(values, nothing, [], str(error))
    watched = run_foreign(ready, given, host=host)
    told = dict(zip(TRACKING, tracking_row(watched.run), strict=True)) if watched.run else {"run_done": 0.0}
    figures = nothing | told | {"findings": float(len(watched.findings))}
    if len(watched.findings) and watched.run is not None and len(watched.run.channels["mode"]) < ready.ticks:
        figures["run_done"] = 0.0
    return Point(values, figures, [f"{finding.kind}: {finding.text}" for finding in watched.findings], "")


def sweep_dataset(found: ForeignSweep, attributes: dict[str, str]) -> Any:
    """An xarray Dataset: every figure over `point`, whose coordinates are the axes' values."""
    import xarray

    data = {name: ("point", np.array([point.figures[name] for point in found.points]),
                   {"units": figure.unit, "long_name": figure.what}) for name, figure in FIGURES.items()}
    keeps = np.array([found.keeps(point) for point in found.points])
    data["keeps_limits"] = ("point", keeps, {"units": "1", "long_name": "no finding, and every limit kept"})
    coordinates = {axis.name: ("point", np.array([point.values[i] for point in found.points]),
                               {"units": axis.unit or "1", "long_name": axis.meaning})
                   for i, axis in enumerate(found.axes)}
    return xarray.Dataset(data, coordinates, attributes)


def sweep_figure(found: ForeignSweep) -> Any:
    """Tracking error and highest cuff pressure over the first axis; crosses where a limit is missed or more."""
    figure = new_figure(8.0, 5.5)
    panels = figure.subplots(2, 1, sharex=True)
    axis = found.axes[0]
    words = [value_word(point.values[0]) for point in found.points]
    at = np.array([words.index(word) for word in words], float) if axis.words else \
        np.array([point.values[0] for point in found.points], float)
    good = np.array([found.keeps(point) for point in found.points])
    for panel, name in zip(panels, ("rms_error_mmHg", "cuff_mmHg"), strict=True):
        values = np.array([point.figures[name] for point in found.points])
        for some, mark, colour, label in ((good, "o", BLUE, "keeps all limits"),
                                          (~good, "x", ORANGE, "misses a limit, or a finding")):
            if np.any(some):
                panel.plot(at[some], values[some], mark, color=colour, label=label)
        tidy(panel, axis.label if name == "cuff_mmHg" else "", f"{FIGURES[name].what}\n({FIGURES[name].unit})")
        for limit in found.limits:
            if limit.name == name:
                panel.axhline(min(limit.low, limit.high, key=abs), color="0.4", linestyle="--", label=limit.text)
        panel.legend(fontsize="small")
    if axis.words:
        panels[1].set_xticks(at, words)
    panels[0].set_title(f"{found.firmware} against {found.case.source.tables.get('name', '')}")
    stamp(figure)
    return figure
