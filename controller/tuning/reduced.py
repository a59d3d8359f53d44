"""What a tuning rule asks of a plant, from its exact frequency response: ultimate point, and lag with dead time.

    ultimate point       Ku = 1/|P(ωu)|, Tu = 2π/ωu, where the phase is −180°
    lag with dead time   P ≈ k' e^{−Ls}/(s + 1/T), an integrator where T is infinite
The lag goes through |P| at ωu and at a tenth of it, its dead time through the phase at ωu: exact for a plant of this
kind, and blind to slow modes (veins, creep of the wall) that a rule for the crossover should not see.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

from controller.margins.margins import OpenLoop, margins
from controller.response import Unity, response
from plant.errors import InputError

WELL_BELOW = 0.1  # of the ultimate frequency: where the lag is read beside it
INTEGRATING = 1e-7  # share of |P|⁻² at the lower frequency that may be rounding
QUIET = 1e-6  # loop gain at low frequency from which a proportional gain is raised, below any instability
LOUDER = 100.0  # by which it is raised
MOST_RAISES = 12


class Ultimate(NamedTuple):
    """Where proportional control would begin to oscillate."""

    gain: float
    period_s: float

    @property
    def omega_rad_s(self) -> float:
        """Ultimate frequency [rad/s]."""
        return 2.0 * math.pi / self.period_s


class DelayedLag(NamedTuple):
    """k' e^{−Ls}/(s + 1/T)."""

    gain_per_s: float  # k', the slope of the step response's start: K/T
    time_s: float  # T; infinite for an integrator
    dead_time_s: float  # L


def ultimate_point(loop: OpenLoop) -> Ultimate:
    """Ultimate gain and period of a loop's plant, whatever its controller. Raises InputError for one without any."""
    alone = loop._replace(integrators=_at_origin(loop))
    gain = QUIET / max(abs(response(loop.plant, loop.low_rad_s)), 1e-300)
    for _ in range(MOST_RAISES):
        found = margins(alone._replace(controller=Unity(gain)))
        if not found.stable:
            break
        if 1.0 < found.gain_margin < math.inf and 0.0 < found.gain_margin_Hz < math.inf:
            return Ultimate(found.gain_margin * gain, 1.0 / found.gain_margin_Hz)
        gain *= LOUDER  # a crossing may have been too quiet to be told from nothing
    raise InputError("the plant has no ultimate gain: proportional control never begins to oscillate")


def _at_origin(loop: OpenLoop) -> int:
    """Integrators of the plant alone: those of the loop less those of its controller."""
    low = 1e-3 * loop.low_rad_s
    controller = abs(response(loop.controller, low)) / abs(response(loop.controller, 10.0 * low))
    return loop.integrators - round(math.log10(controller))


def delayed_lag(plant: Any, ultimate: Ultimate) -> DelayedLag:
    """The lag with dead time that a plant is taken for."""
    high = ultimate.omega_rad_s
    low = WELL_BELOW * high
    below, above = (1.0 / abs(response(plant, omega)) ** 2 for omega in (low, high))
    # |P|⁻² = (ω² + 1/T²)/k'²
    slope = (above - below) / (high**2 - low**2)
    rest = below - slope * low**2
    if slope <= 0.0:
        raise InputError("the plant cannot be taken for a lag with dead time: its gain does not fall")
    time = math.sqrt(slope / rest) if rest > INTEGRATING * below else math.inf
    lag = math.atan(time * high)
    return DelayedLag(1.0 / math.sqrt(slope), time, (math.pi - lag) / high)
