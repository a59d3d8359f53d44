"""Classical tuning rules: closed forms from a plant's ultimate point, from its lag with dead time, or from its phase.

    Ziegler & Nichols 1942   PI 0.45 Ku, Tu/1.2; PID 0.6 Ku, Tu/2, Tu/8
    SIMC, Skogestad 2003     Kc = 1/(k' (τc + L)), Ti = min(T, 4 (τc + L)), with τc = L
    AMIGO, Åström & Hägglund 2004   PI and PID from K, T, L, for integrators in the limit of large T
    lead                     a lead of fixed ratio with its largest phase at crossover, and a slow integral term
Gains are for the ideal form Kp (1 + 1/(Ti s) + Td s).
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from controller.margins.margins import OpenLoop
from controller.response import sweep
from controller.tick.parameters import SHORTEST_FILTER, Controller
from controller.tuning.reduced import DelayedLag, Ultimate, delayed_lag, ultimate_point
from plant.errors import InputError

FILTER_RATIO = 10.0  # N of every rule's derivative filter, common practice (8–20, from memory)
LEAD_RATIO = 3.0  # pole over zero of the plain lead: 30° at its best
LEAD_MARGIN_deg = 50.0  # that the plain lead is designed for (30–60 is usual, from memory)
SLOW_INTEGRAL = 10.0  # integral time of the plain lead, in units of 1/crossover: costs 5.7°


class Settings(NamedTuple):
    """What a rule says, continuous and in the ideal form; a zero is a term that is not there."""

    kp: float
    ti_s: float
    td_s: float = 0.0
    lead_zero_Hz: float = 0.0
    lead_pole_Hz: float = 0.0


def ziegler_nichols_pi(ultimate: Ultimate) -> Settings:
    """PI from the ultimate point (Ziegler & Nichols 1942)."""
    return Settings(0.45 * ultimate.gain, ultimate.period_s / 1.2)


def ziegler_nichols_pid(ultimate: Ultimate) -> Settings:
    """PID from the ultimate point (Ziegler & Nichols 1942)."""
    return Settings(0.6 * ultimate.gain, ultimate.period_s / 2.0, ultimate.period_s / 8.0)


def simc(lag: DelayedLag, closed_loop_s: float | None = None) -> Settings:
    """PI by SIMC (Skogestad 2003); the closed-loop time constant is the dead time unless given: 'tight' control."""
    wanted = (lag.dead_time_s if closed_loop_s is None else closed_loop_s) + lag.dead_time_s
    return Settings(1.0 / (lag.gain_per_s * wanted), min(lag.time_s, 4.0 * wanted))


def amigo_pi(lag: DelayedLag) -> Settings:
    """PI by AMIGO (Åström & Hägglund 2004): K Kp = 0.15 + (0.35 − LT/(L+T)²) T/L, Ti = 0.35L + 13LT²/(T²+12LT+7L²)."""
    delay, ratio = lag.dead_time_s, lag.dead_time_s / lag.time_s  # L/T, 0 for an integrator
    gain = 0.15 * ratio + 0.35 - ratio / (1.0 + ratio) ** 2
    return Settings(gain / (lag.gain_per_s * delay), delay * (0.35 + 13.0 / (1.0 + 12.0 * ratio + 7.0 * ratio**2)))


def amigo_pid(lag: DelayedLag) -> Settings:
    """PID by AMIGO: K Kp = 0.2 + 0.45 T/L, Ti = L (0.4L+0.8T)/(L+0.1T), Td = 0.5LT/(0.3L+T)."""
    delay, ratio = lag.dead_time_s, lag.dead_time_s / lag.time_s
    gain = (0.2 * ratio + 0.45) / (lag.gain_per_s * delay)
    return Settings(gain, delay * (0.4 * ratio + 0.8) / (ratio + 0.1), 0.5 * delay / (0.3 * ratio + 1.0))


def plain_lead(loop: OpenLoop, highest_Hz: float) -> Settings:
    """Lead with a slow integral term (textbook lead design, common practice).

    The crossover is the lowest at which plant, lead and integral leave LEAD_MARGIN_deg; the lead's pole stays below
    `highest_Hz`. Raises InputError when the plant has too little phase everywhere.
    """
    ratio = LEAD_RATIO
    gained = math.asin((ratio - 1.0) / (ratio + 1.0)) - math.atan(1.0 / SLOW_INTEGRAL)
    low = 1e-3 * loop.high_rad_s
    omega = np.geomspace(low, min(loop.high_rad_s, 2.0 * math.pi * highest_Hz) / math.sqrt(ratio), 4000)
    gain = sweep(loop.plant, omega)
    phase = np.unwrap(np.angle(gain))
    enough = phase + gained >= math.radians(LEAD_MARGIN_deg) - math.pi
    if not enough[0]:
        raise InputError("no crossover leaves a plain lead its phase margin")
    last = int(np.argmin(enough)) - 1 if not np.all(enough) else len(omega) - 1
    crossover_Hz = float(omega[last]) / (2.0 * math.pi)
    kp = 1.0 / (float(abs(gain[last])) * math.sqrt(ratio) * math.hypot(1.0, 1.0 / SLOW_INTEGRAL))
    return Settings(kp, SLOW_INTEGRAL / float(omega[last]), 0.0, crossover_Hz / math.sqrt(ratio),
                    crossover_Hz * math.sqrt(ratio))


def to_controller(settings: Settings, frame: Controller, period_s: float) -> Controller:
    """A rule's settings as the firmware's controller; output limits, slew and converter stay those of `frame`.

    The derivative filter is Td/N, and not so short that it would ring on the tick.
    """
    ratio = FILTER_RATIO
    if settings.td_s > 0.0:
        ratio = max(min(FILTER_RATIO, settings.td_s / (1.001 * SHORTEST_FILTER * period_s)), 0.05)
    return frame._replace(
        form="ideal", ki=0.0, kd=0.0, filter_s=0.0, notch_Hz=0.0, prewarp_Hz=0.0, filter_ratio=ratio,
        **settings._asdict(),
    )


def classical_rules(loop: OpenLoop, frame: Controller, period_s: float) -> dict[str, Controller]:
    """Every rule that applies to a loop's plant, by name; one that does not apply is left out."""
    by_name: dict[str, Callable[[], Settings]] = {
        "Ziegler–Nichols PI": lambda: ziegler_nichols_pi(ultimate_point(loop)),
        "Ziegler–Nichols PID": lambda: ziegler_nichols_pid(ultimate_point(loop)),
        "SIMC PI": lambda: simc(delayed_lag(loop.plant, ultimate_point(loop))),
        "AMIGO PI": lambda: amigo_pi(delayed_lag(loop.plant, ultimate_point(loop))),
        "AMIGO PID": lambda: amigo_pid(delayed_lag(loop.plant, ultimate_point(loop))),
        "plain lead": lambda: plain_lead(loop, 0.49 / period_s),
    }
    found = {}
    for name, rule in by_name.items():
        try:
            found[name] = to_controller(rule(), frame, period_s)
        except InputError:
            continue
    return found
