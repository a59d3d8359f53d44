"""Requirements: the limits that a rig must meet, and the verdict on each.

A requirements file is TOML with one table a figure: `[phase_margin_deg]` `min = 45`; figures with a spread take
`mean_max` (of the magnitude) and `sd_max`.
"""
from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

from experiments.rigs.rig import BUILT_IN, read_toml
from plant.errors import InputError
from plant.messages import one_line, value_text

LARGEST = 1e9  # limit of a limit
LIMITS = ("min", "max", "mean_max", "sd_max")
TEXTS = ("id", "rationale")  # that a figure's table may hold besides, see `experiments.rigs.rationale`
MOST_TEXT = 300
FIGURES: dict[str, tuple[str, str]] = {  # figure: (unit, what it is)
    "gain_margin_dB": ("dB", "gain margin, worse side"),
    "gain_reduction_margin_dB": ("dB", "gain-reduction margin, worse side"),
    "phase_margin_deg": ("°", "phase margin, worse side"),
    "delay_margin_s": ("s", "delay margin, worse side"),
    "delay_margin_ticks": ("ticks", "delay margin, worse side"),
    "modulus_margin": ("", "modulus margin, worse side"),
    "sensitivity_peak": ("", "sensitivity peak Ms, worse side"),
    "crossover_Hz": ("Hz", "crossover, slower side"),
    "bandwidth_Hz": ("Hz", "bandwidth, slower side"),
    "command_noise_rms": ("", "command rms by light noise, worse side"),
    "command_pulse_rms": ("", "command rms by the pulse, worse side"),
    "command_step_sd": ("", "command SD tick to tick, worse side"),
    "command_limit_share": ("", "ticks at a command limit, predicted"),
    "set_point_error_mmHg": ("mmHg", "set point found, from peak compliance"),
    "first_waveform_s": ("s", "empty cuff to first waveform shown"),
    "search_s": ("s", "empty cuff to set point found"),
    "rms_error_mmHg": ("mmHg", "tracking error, rms"),
    "peak_error_mmHg": ("mmHg", "tracking error, peak"),
    "bias_mmHg": ("mmHg", "tracking error, mean (size)"),
    "beat_systolic_error_mmHg": ("mmHg", "systolic error by beat"),
    "beat_systolic_error_percent": ("%", "systolic error by beat, of pulse"),
    "beat_mean_error_mmHg": ("mmHg", "mean-pressure error by beat"),
    "beat_diastolic_error_mmHg": ("mmHg", "diastolic error by beat"),
    "saturation_share": ("", "share of time at a limit"),
    "cuff_mmHg": ("mmHg", "highest cuff pressure"),
}
SPREAD = tuple(name for name in FIGURES if name.startswith("beat_"))


class Verdict(NamedTuple):
    """One limit held against its figure."""

    figure: str
    limit: str  # min, max, mean_max or sd_max
    allowed: float
    found: float  # nan when the figure could not be had
    unit: str

    @property
    def passed(self) -> bool:
        """Whether the figure keeps the limit; a missing figure does not."""
        if not math.isfinite(self.found):
            return self.found == math.inf and self.limit == "min"
        return self.found >= self.allowed if self.limit == "min" else self.found <= self.allowed


def default_requirements(built_in: str) -> Path:
    """The requirements file that ships with a built-in rig."""
    return BUILT_IN / f"{built_in}_requirements.toml"


def load_requirements(path: Path) -> dict[str, dict[str, float]]:
    """Limits by figure. Raises InputError for unknown figures, unknown limits and values that are not numbers."""
    table = read_toml(path)
    found: dict[str, dict[str, float]] = {}
    for figure, limits in table.items():
        if figure not in FIGURES:
            raise InputError(f"{path}: [{one_line(figure, 60)}] is not a figure; use one of {', '.join(FIGURES)}")
        allowed = ("mean_max", "sd_max") if figure in SPREAD else ("min", "max")
        numbers = {k: v for k, v in limits.items() if k not in TEXTS} if isinstance(limits, dict) else {}
        if not numbers:
            raise InputError(f"{path}: {figure} = {value_text(limits)} must be a table with {' or '.join(allowed)}")
        for key in TEXTS:
            words = limits.get(key, "")
            if not isinstance(words, str) or len(words) > MOST_TEXT:
                raise InputError(f"{path}: {figure}.{key} = {value_text(words)} must be a text of up to {MOST_TEXT} "
                                 "characters")
        for limit, value in numbers.items():
            if limit not in allowed:
                named = f"{figure}.{one_line(limit, 60)}"
                raise InputError(f"{path}: {named} is not a limit of this figure; use {' or '.join(allowed)}")
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= LARGEST:
                raise InputError(
                    f"{path}: {figure}.{limit} = {value_text(value)} must be a number from {-LARGEST:g} to {LARGEST:g}"
                )
        found[figure] = {k: float(v) for k, v in numbers.items()}
    if not found:
        raise InputError(f"{path}: no limits in it; a requirements file needs at least one")
    return found


def judge(requirements: dict[str, dict[str, float]], figures: dict[str, Any]) -> list[Verdict]:
    """One verdict a limit. A figure with a spread comes as {'mean': …, 'sd': …}."""
    verdicts = []
    for name, limits in requirements.items():
        value = figures.get(name, math.nan)
        for limit, allowed in limits.items():
            if isinstance(value, dict):
                found = abs(value["mean"]) if limit == "mean_max" else value["sd"]
            else:
                found = float(value)
            verdicts.append(Verdict(name, limit, allowed, float(found), FIGURES[name][0]))
    return verdicts
