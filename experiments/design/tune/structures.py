"""Structures a tuning may choose from, and each as a vector of logarithms between bounds set by the plant."""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.parameters import SHORTEST_FILTER, Controller
from controller.tuning.reduced import Ultimate
from plant.errors import InputError
from plant.messages import one_line

Reals = NDArray[np.float64]

INTEGRAL, DERIVATIVE, LEAD, NOTCH = ("ti_s",), ("td_s", "filter_s"), ("lead_zero_Hz", "lead_pole_Hz"), (
    "notch_Hz", "notch_share", "notch_depth_dB")
STRUCTURES: dict[str, tuple[str, ...]] = {  # from plain to elaborate
    "PI": ("kp", *INTEGRAL),
    "PID": ("kp", *INTEGRAL, *DERIVATIVE),
    "PI with lead": ("kp", *INTEGRAL, *LEAD),
    "PID with lead": ("kp", *INTEGRAL, *DERIVATIVE, *LEAD),
    "PID with notch": ("kp", *INTEGRAL, *DERIVATIVE, *NOTCH),
    "PID with lead and notch": ("kp", *INTEGRAL, *DERIVATIVE, *LEAD, *NOTCH),
}


def structures_named(name: str | None) -> tuple[str, ...]:
    """The one structure of that name, in capitals or not, with spaces, hyphens or underscores; None: all of them.

    Raises InputError.
    """
    if name is None:
        return tuple(STRUCTURES)
    plain = " ".join(name.replace("-", " ").replace("_", " ").lower().split())
    found = tuple(structure for structure in STRUCTURES if structure.lower() == plain)
    if not found:
        raise InputError(f"--structure {one_line(name, 60)}: use one of {', '.join(STRUCTURES)}")
    return found


class Space(NamedTuple):
    """One structure's settings: names, and bounds of their logarithms."""

    structure: str
    names: tuple[str, ...]
    low: Reals
    high: Reals
    frame: Controller  # whose output limits, slew and converter stay
    period_s: float

    @property
    def shape(self) -> list[int]:
        """Columns of all but the gain."""
        return [i for i, name in enumerate(self.names) if name != "kp"]


def space_of(structure: str, ultimate: Ultimate, frame: Controller, period_s: float) -> Space:
    """The settings of a structure between bounds that follow from the plant's ultimate point and the tick (invented:
    wide enough that no optimum we met lay on one that is not the firmware's own)."""
    gain, time, top = ultimate.gain, ultimate.period_s, 0.49 / period_s
    bounds = {
        "kp": (1e-3 * gain, 2.0 * gain),
        "ti_s": (0.03 * time, 30.0 * time),
        "td_s": (0.02 * time, 10.0 * time),
        "filter_s": (1.01 * SHORTEST_FILTER * period_s, 2.0 * time),
        "lead_zero_Hz": (0.1 / time, top),
        "lead_pole_Hz": (0.1 / time, top),
        "notch_Hz": (0.5 / time, top),
        "notch_share": (0.1, 2.0),  # width over centre
        "notch_depth_dB": (0.5, 40.0),
    }
    names = STRUCTURES[structure]
    low, high = (np.log([bounds[name][k] for name in names]) for k in (0, 1))
    return Space(structure, names, low, high, frame, period_s)


def to_settings(space: Space, x: Reals) -> Controller:
    """The controller of a vector of logarithms; those beyond a bound are put on it."""
    value = dict(zip(space.names, np.exp(np.clip(x, space.low, space.high)), strict=True))
    filter_s = float(value.pop("filter_s", 0.0))
    share = float(value.pop("notch_share", 0.0))
    plain: dict[str, Any] = {name: float(number) for name, number in value.items()}
    if filter_s > 0.0:  # Td/N, N within what the firmware takes
        plain["filter_ratio"] = min(max(plain["td_s"] / filter_s, 0.05), 1000.0)
    if share > 0.0:
        plain["notch_width_Hz"] = max(share * plain["notch_Hz"], 0.01)
    return bare(space.frame)._replace(**plain)


def from_settings(space: Space, controller: Controller) -> Reals:
    """The vector that comes nearest to a controller in the ideal form; a term it lacks goes to where it does least."""
    filter_s = controller.td_s / controller.filter_ratio
    at = {
        "kp": controller.kp, "ti_s": controller.ti_s or math.inf, "td_s": controller.td_s or 1e-12,
        "filter_s": filter_s or 1e-12,
        "lead_zero_Hz": controller.lead_zero_Hz or math.inf, "lead_pole_Hz": controller.lead_pole_Hz or math.inf,
        "notch_Hz": controller.notch_Hz or math.inf,
        "notch_share": controller.notch_width_Hz / controller.notch_Hz if controller.notch_Hz else 0.5,
        "notch_depth_dB": controller.notch_depth_dB if controller.notch_Hz else 1e-12,
    }
    with np.errstate(divide="ignore"):
        return np.asarray(np.clip(np.log([at[name] for name in space.names]), space.low, space.high))


def bare(frame: Controller) -> Controller:
    """A frame's output limits, slew, converter and method, without any of its terms, in the ideal form."""
    kept = ("output_low", "output_high", "slew_per_s", "output_bits", "method")
    return Controller(**{name: getattr(frame, name) for name in kept})
