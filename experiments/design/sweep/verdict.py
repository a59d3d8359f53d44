"""What a sweep comes to: which points keep all limits, the best of them, and how to run the worst finger alone."""
from __future__ import annotations

import math
import shlex
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.sweep.study import Study

LIMIT_NAMES = {  # figure and limit of a requirements file: figure of a sweep
    ("beat_systolic_error_mmHg", "mean_max"): "beat_systolic_mean_mmHg",
    ("beat_systolic_error_mmHg", "sd_max"): "beat_systolic_sd_mmHg",
}


class Limit(NamedTuple):
    """One limit that a sweep can be held against."""

    name: str
    low: float  # inclusive
    high: float

    @property
    def text(self) -> str:
        """As people write it."""
        return f"{self.name} ≥ {self.low:g}" if math.isfinite(self.low) else f"{self.name} ≤ {self.high:g}"


def limits_of(found: Study, requirements: dict[str, dict[str, float]]) -> list[Limit]:
    """Those of a rig's requirements that are about figures of this sweep."""
    limits = []
    for figure, bounds in requirements.items():
        for bound, value in bounds.items():
            name = LIMIT_NAMES.get((figure, bound), figure)
            if name in found.case.figures:
                low, high = (value, math.inf) if bound == "min" else (-math.inf, value)
                limits.append(Limit(name, low, high))
    return limits


def keeps(found: Study, limits: list[Limit]) -> NDArray[np.bool_]:
    """Whether every finger is stable and keeps every limit, at each point."""
    good = found.worst("stable") == 1.0
    if found.case.simulated:
        good &= found.worst("run_done") == 1.0
    for limit in limits:
        values = found.worst(limit.name)
        good &= (values >= limit.low) & (values <= limit.high)
    return np.asarray(good)


def goal(found: Study) -> str:
    """The figure by which one point is better than another: how well the worst finger is followed."""
    return "rms_error_mmHg" if found.case.simulated else "predicted_rms_mmHg"


def best(found: Study, limits: list[Limit]) -> int | None:
    """The point that keeps every limit and follows best; None when there is none."""
    error = np.where(keeps(found, limits), found.worst(goal(found)), np.inf)
    at = int(np.argmin(error))
    return at if math.isfinite(error[at]) else None


def settings_of(found: Study, point: int) -> list[str]:
    """The axes' values at a point, as one writes them on a command line."""
    return [f"{axis.name}={value_word(value)}" for axis, value in zip(found.axes, found.points[point], strict=True)]


def value_word(value: Any) -> str:
    """A value as an axis takes it: all digits, so that it comes back as the same number."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else repr(value)


def rerun(found: Study, point: int, options: list[str]) -> str:
    """The command that runs the worst finger of a point alone; `options` are those of the sweep that it needs."""
    words = ["cuffloop", "sweep", *options[:1], *settings_of(found, point)]
    if found.fingers:
        words += ["--finger", found.fingers[int(found.worst_finger()[point])].name]
    return shlex.join(words + options[1:])
