"""Limits on margins and on the command's activity as a tuning takes them, and how far a loop misses them."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.disturbed import EFFORTS, Disturbed
from controller.margins.margins import gain_margins_dB
from controller.margins.survey import Survey
from experiments.rigs.requirements import FIGURES
from plant.errors import InputError

Reals = NDArray[np.float64]

DEFAULTS = {
    "sensitivity_peak": {"max": 1.6}, "delay_margin_ticks": {"min": 2.0},
    "command_noise_rms": {"max": 0.15}, "command_pulse_rms": {"max": 0.2}, "command_step_sd": {"max": 0.25},
    "command_limit_share": {"max": 0.01},
}
MARGINS = ("gain_margin_dB", "gain_reduction_margin_dB", "phase_margin_deg", "delay_margin_s", "delay_margin_ticks",
           "modulus_margin", "sensitivity_peak", "crossover_Hz", "bandwidth_Hz")
FAR = 10.0  # shortfall of a loop that is unstable or has no such figure


class MarginLimit(NamedTuple):
    """One limit on one margin, or on what the command does."""

    figure: str
    limit: str  # min or max
    allowed: float

    @property
    def on_command(self) -> bool:
        """Whether it is about the command's activity."""
        return self.figure in EFFORTS

    @property
    def text(self) -> str:
        """As people write it."""
        sign = "≥" if self.limit == "min" else "≤"
        return f"{FIGURES[self.figure][1].split(',')[0]} {sign} {self.allowed:g} {FIGURES[self.figure][0]}".rstrip()


def margin_values(survey: Survey, period_s: float) -> dict[str, Reals]:
    """Margins of many loops under the names that requirements use; NaN where a loop is unstable or was not resolved."""
    sound = (np.asarray(survey.unstable) == 0.0) & (np.asarray(survey.resolved) == 1.0)
    sound &= np.asarray(survey.modulus) > 0.0
    gain_dB, reduction_dB = gain_margins_dB(survey.gain_margin, survey.gain_reduction)
    with np.errstate(divide="ignore", invalid="ignore"):
        values = {
            "gain_margin_dB": gain_dB,
            "gain_reduction_margin_dB": reduction_dB,
            "phase_margin_deg": np.degrees(survey.phase_margin),
            "delay_margin_s": np.asarray(survey.delay_margin_s),
            "delay_margin_ticks": np.asarray(survey.delay_margin_s) / period_s,
            "modulus_margin": np.asarray(survey.modulus),
            "sensitivity_peak": 1.0 / np.asarray(survey.modulus),
            "crossover_Hz": np.divide(survey.crossover_omega, 2.0 * math.pi),
            "bandwidth_Hz": np.divide(survey.bandwidth_omega, 2.0 * math.pi),
        }
        return {name: np.where(sound, value, np.nan) for name, value in values.items()}


def margin_limits(requirements: dict[str, dict[str, float]]) -> tuple[MarginLimit, ...]:
    """The limits on margins and command among requirements; those on tracking, search and the like are `check`'s.

    Margins come first. Where a figure of the defaults (Ms ≤ 1.6, delay margin ≥ 2 ticks, the four of the command) is
    not among them, the default holds. Raises InputError for a limit that no loop can keep.
    """
    asked = {name: limits for name, limits in requirements.items() if name in (*MARGINS, *EFFORTS)}
    merged = asked | {name: limits for name, limits in DEFAULTS.items() if name not in asked}
    found = tuple(MarginLimit(name, kind, value) for name, limits in merged.items() for kind, value in limits.items())
    found = (*(limit for limit in found if not limit.on_command), *(limit for limit in found if limit.on_command))
    for limit in found:
        if limit.allowed <= 0.0:
            raise InputError(f"{limit.figure}.{limit.limit} = {limit.allowed:g}: a tuning needs a limit above 0")
        if limit.on_command and limit.limit == "min":
            raise InputError(f"{limit.figure}.min = {limit.allowed:g}: a tuning bounds the command from above")
        if limit.figure == "sensitivity_peak" and (limit.limit == "min" or limit.allowed <= 1.0):
            raise InputError(f"sensitivity_peak.{limit.limit} = {limit.allowed:g}: must be a max above 1, which the "
                             "sensitivity of every loop with dead time exceeds somewhere")
    return found


def largest_peak(limits: tuple[MarginLimit, ...]) -> float:
    """The bound on |S| that the limits amount to: the smaller of Ms and 1/modulus margin; infinite without any."""
    peaks = [limit.allowed for limit in limits if limit.figure == "sensitivity_peak"]
    peaks += [1.0 / limit.allowed for limit in limits if limit.figure == "modulus_margin"]
    return min(peaks, default=math.inf)


def with_peak(limits: tuple[MarginLimit, ...], peak: float) -> tuple[MarginLimit, ...]:
    """The limits with another bound on |S|, for the trade-off; in the same order."""
    changed = {"sensitivity_peak": peak, "modulus_margin": 1.0 / peak}
    return tuple(limit._replace(allowed=changed.get(limit.figure, limit.allowed)) for limit in limits)


def least_delay_ticks(limits: tuple[MarginLimit, ...], period_s: float) -> float:
    """The delay margin [ticks] that the limits ask for; 0 for none."""
    asked = [limit.allowed for limit in limits if limit[:2] == ("delay_margin_ticks", "min")]
    asked += [limit.allowed / period_s for limit in limits if limit[:2] == ("delay_margin_s", "min")]
    return max(asked, default=0.0)


def split(limits: tuple[MarginLimit, ...]) -> tuple[tuple[MarginLimit, ...], tuple[MarginLimit, ...]]:
    """Those on margins, and those on the command."""
    return tuple(x for x in limits if not x.on_command), tuple(x for x in limits if x.on_command)


def effort_shortfalls(found: Disturbed, limits: tuple[MarginLimit, ...]) -> Reals:
    """How far each setting's command misses each limit on it, negative where it is kept; shape (settings, limits).

    As a share of the limit; of a share of ticks, which spans many decades, by its decimal logarithm.
    """
    missed = np.empty((len(found.command_step_sd), len(limits)))
    for k, limit in enumerate(limits):
        ratio = np.asarray(getattr(found, limit.figure)) / limit.allowed
        by = np.log10(np.maximum(ratio, 1e-30)) if limit.figure == "command_limit_share" else ratio - 1.0
        missed[:, k] = np.clip(np.where(np.isnan(by), FAR, by), -FAR, FAR)
    return missed


def shortfalls(survey: Survey, limits: tuple[MarginLimit, ...], period_s: float) -> Reals:
    """How far each loop misses each limit on a margin, as a share, negative where it is kept; shape (loops, limits).

    A loop that is unstable misses all of them by FAR and more, the more the more of its poles lie outside.
    """
    values = margin_values(survey, period_s)
    found = np.empty((len(np.asarray(survey.modulus)), len(limits)))
    for k, limit in enumerate(limits):
        missed = (values[limit.figure] - limit.allowed) / limit.allowed
        found[:, k] = np.clip(missed if limit.limit == "max" else -missed, -FAR, FAR)
    lost = np.isnan(found)
    return np.where(lost, FAR + np.asarray(survey.unstable)[:, None], found)
