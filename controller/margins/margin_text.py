"""Margins in words: short lines in Hz, degrees, dB, seconds and samples."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.margins.margins import Margins

MOST_CROSSINGS = 6  # printed of each kind


def decibel(factor: float) -> str:
    """A gain factor in dB, "none" for an infinite or vanishing one."""
    return f"{20.0 * math.log10(factor):.2f} dB" if 0.0 < factor < math.inf else "none"


def lines(margins: Margins) -> list[str]:
    """One line a margin; says so first when the loop is unstable or its response could not be followed."""
    text = []
    if margins.stable:
        text.append("closed loop: stable")
    else:
        count = margins.unstable_closed_loop_poles
        text.append(f"closed loop: UNSTABLE, {count} closed-loop poles outside the boundary; "
                    "the figures below are crossings, not margins" if count > 0 else
                    f"closed loop: UNKNOWN, the open-loop pole counts contradict the response ({count} poles outside)")
    if not margins.resolved:
        text.append("frequency grid: TOO COARSE for this loop's phase; do not trust the figures below")
    text.append(f"gain margin: {_factor(margins.gain_margin, margins.gain_margin_Hz)}")
    text.append("gain reduction margin: " + (_factor(margins.gain_reduction_margin, math.nan)
                                             if margins.gain_reduction_margin > 0.0 else "no limit"))
    if math.isfinite(margins.phase_margin_deg):
        text.append(f"phase margin: {margins.phase_margin_deg:.2f}° at the crossover of {margins.crossover_Hz:.4g} Hz")
    else:
        text.append("phase margin: no limit (no gain crossover)")
    text.append(f"delay margin: {_delay(margins)}")
    text.append(f"modulus margin: {margins.modulus_margin:.4f} at {margins.modulus_margin_Hz:.4g} Hz "
                f"(Ms {margins.sensitivity_peak:.3f}, {decibel(margins.sensitivity_peak)})")
    if math.isnan(margins.bandwidth_Hz):
        text.append("bandwidth: none (unstable)")
    elif math.isinf(margins.bandwidth_Hz):
        text.append("bandwidth: closed loop stays above -3 dB over the whole band")
    else:
        text.append(f"bandwidth: {margins.bandwidth_Hz:.4g} Hz (-3 dB)")
    if len(margins.gain_crossovers) > 1:
        text.append("all gain crossovers: " + _some([f"{c.phase_margin_deg:.1f}° at {c.frequency_Hz:.4g} Hz"
                                                     for c in margins.gain_crossovers]))
    if len(margins.phase_crossovers) > 1:
        text.append("all phase crossovers: " + _some([f"{decibel(c.gain_margin)} at {c.frequency_Hz:.4g} Hz"
                                                      for c in margins.phase_crossovers]))
    return text


def _factor(factor: float, frequency_Hz: float) -> str:
    """A gain factor in dB and as a number, with its frequency where it has one."""
    if not math.isfinite(factor):
        return "no limit"
    where = "" if math.isnan(frequency_Hz) else f" at {frequency_Hz:.4g} Hz"
    return f"{decibel(factor)} (x {factor:.4g}){where}"


def _delay(margins: Margins) -> str:
    """The delay margin in seconds and, for a sampled loop, in samples."""
    if math.isinf(margins.delay_margin_s):
        return "no limit"
    ticks = "" if margins.period_s == 0.0 else f" ({margins.delay_margin_ticks:.3f} samples)"
    return f"{margins.delay_margin_s:.4g} s{ticks}"


def _some(items: list[str]) -> str:
    """The first few of a list, and how many more there are."""
    more = len(items) - MOST_CROSSINGS
    return ", ".join(items[:MOST_CROSSINGS]) + (f" and {more} more" if more > 0 else "")
