"""What a sweep comes to: which points keep all limits, the best of them, and how to run the worst finger alone."""
from __future__ import annotations

import math
import shlex
from collections.abc import Container
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.sweep.study import Study

Reals = NDArray[np.float64]

LIMIT_NAMES = {  # figure and limit of a requirements file: figure of a sweep
    ("beat_systolic_error_mmHg", "mean_max"): "beat_systolic_mean_mmHg",
    ("beat_systolic_error_percent", "mean_max"): "beat_systolic_mean_percent",
    ("beat_systolic_error_mmHg", "sd_max"): "beat_systolic_sd_mmHg",
}

SHORT = {
    "gain_margin_dB": "gain margin", "gain_reduction_margin_dB": "gain reduction", "phase_margin_deg": "phase margin",
    "delay_margin_s": "delay margin", "delay_margin_ticks": "delay margin", "modulus_margin": "modulus margin",
    "sensitivity_peak": "Ms", "crossover_Hz": "crossover", "bandwidth_Hz": "bandwidth",
    "command_noise_rms": "command by noise", "command_pulse_rms": "command by pulse",
    "command_step_sd": "command by tick", "command_limit_share": "share at a limit",
    "rms_error_mmHg": "rms error", "peak_error_mmHg": "peak error", "bias_mmHg": "bias",
    "beat_systolic_mean_mmHg": "systolic mean", "beat_systolic_mean_percent": "systolic mean",
    "beat_systolic_sd_mmHg": "systolic SD",
    "saturation_share": "saturation", "cuff_mmHg": "cuff pressure",
}


class Limit(NamedTuple):
    """One limit that a sweep can be held against."""

    name: str
    low: float  # inclusive
    high: float

    @property
    def short(self) -> str:
        """The figure in a word or two."""
        return SHORT.get(self.name, self.name)

    def room(self, values: Reals) -> Reals:
        """How far values are inside the limit (from 0 up) or outside it, as a share of the limit; NaN stays NaN."""
        least = math.isfinite(self.low)
        bound = self.low if least else self.high
        return np.asarray((values - bound if least else bound - values) / (abs(bound) or 1.0))

    @property
    def text(self) -> str:
        """As people write it."""
        return f"{self.name} ≥ {self.low:g}" if math.isfinite(self.low) else f"{self.name} ≤ {self.high:g}"


def limits_of(found: Study, requirements: dict[str, dict[str, float]]) -> list[Limit]:
    """Those of a rig's requirements that are about figures of this sweep."""
    return limits_among(found.case.figures, requirements)


def limits_among(figures: Container[str], requirements: dict[str, dict[str, float]]) -> list[Limit]:
    """Those of a rig's requirements that are about some figures."""
    limits = []
    for figure, bounds in requirements.items():
        for bound, value in bounds.items():
            name = LIMIT_NAMES.get((figure, bound), figure)
            if name in figures:
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


def binding(found: Study, limits: list[Limit], point: int) -> str:
    """What breaks at a point, else the limit that it comes nearest to, in a word or two; empty without limits.

    Stability and a run that does not hold come first; then the limit that is missed by most of its own size.
    """
    if found.worst("stable")[point] != 1.0:
        return "stability"
    if found.case.simulated and found.worst("run_done")[point] != 1.0:
        return "the clamp does not hold"
    rooms = {limit.short: float(limit.room(found.worst(limit.name)[point : point + 1])[0]) for limit in limits}
    return min(rooms, key=lambda name: -math.inf if math.isnan(rooms[name]) else rooms[name], default="")


def binding_counts(found: Study, limits: list[Limit]) -> dict[str, int]:
    """At how many of the points that break a limit each of them decides, the commonest first."""
    counts: dict[str, int] = {}
    for i in np.flatnonzero(~keeps(found, limits)):
        word = "not to be had" if math.isnan(found.worst("stable")[i]) else binding(found, limits, int(i))
        counts[word] = counts.get(word, 0) + 1
    return dict(sorted(counts.items(), key=lambda pair: -pair[1]))


def worst_fingers(found: Study, point: int, names: list[str]) -> dict[str, list[str]]:
    """The finger of each worst figure of a point: {finger: figures}."""
    by_finger: dict[str, list[str]] = {}
    for name in names:
        values = found.figures[point, :, found.names.index(name)]
        ends = found.case.figures[name].worst
        lost = np.isnan(values)
        at = int(np.argmax(lost)) if np.any(lost) else int(np.argmin(values) if ends == "min" else np.argmax(values))
        by_finger.setdefault(found.fingers[at].name, []).append(name)
    return by_finger


def rerun(found: Study, point: int, options: list[str], finger: str = "") -> str:
    """The command that runs a finger of a point alone (by default the one of least modulus margin); `options` are those
    of the sweep that it needs."""
    words = ["cuffloop", "sweep", *options[:1], *settings_of(found, point)]
    if found.fingers:
        words += ["--finger", finger or found.fingers[int(found.worst_finger()[point])].name]
    return shlex.join(words + options[1:])
