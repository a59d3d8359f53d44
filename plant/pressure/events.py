"""Events that happen to a pressure trace: hypotension, hypertension, loss of pulse, the hand raised.

Each is a NamedTuple of what happens, and `apply` gives a new trace; the old one is left alone. Events chain.
Their sizes and times are scenarios, invented unless their declaration says otherwise.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

import numpy as np

from plant.bounds import check_bounds
from plant.declare import quantity
from plant.errors import InputError
from plant.pressure.hand import USUAL_m_s, smooth, straight, way_s
from plant.pressure.record import PressureTrace
from plant.pressure.resample import Samples
from plant.units import hydrostatic_mmHg

LOCAL_MEAN_s = 3.0  # of pressure before an event, taken as where it starts from

Start = Annotated[float, quantity("s", 0, 86400, "when it begins", "scenario")]
Ramp = Annotated[float, quantity("s", 0.1, 3600, "time from one level to the other", "scenario")]
Hold = Annotated[float, quantity("s", 0, 86400, "time at the new level; 0 for to the end", "scenario")]


class Hypotension(NamedTuple):
    """Mean pressure falls to a level and comes back; the pulsation shrinks in proportion."""

    mean_mmHg: Annotated[float, quantity("mmHg", 20, 120, "mean pressure at its lowest", "scenario")] = 50.0
    start_s: Start = 10.0
    ramp_s: Ramp = 10.0
    hold_s: Hold = 10.0
    return_s: Ramp = 20.0


class Hypertension(NamedTuple):
    """Mean pressure rises to a level and comes back; the pulsation grows in proportion."""

    mean_mmHg: Annotated[float, quantity("mmHg", 60, 250, "mean pressure at its highest", "scenario")] = 140.0
    start_s: Start = 10.0
    ramp_s: Ramp = 10.0
    hold_s: Hold = 10.0
    return_s: Ramp = 20.0


class LossOfPulse(NamedTuple):
    """The heart stops: the pulsation fades and pressure runs off to a floor; it may come back."""

    start_s: Start = 10.0
    fade_s: Annotated[float, quantity("s", 0.1, 60, "time over which the pulsation fades", "scenario")] = 1.0
    floor_mmHg: Annotated[
        float, quantity("mmHg", 0, 100, "pressure that is left without flow", "10–30, from memory")
    ] = 20.0
    run_off_s: Annotated[float, quantity("s", 0.1, 60, "time constant of the fall", "invented")] = 3.0
    hold_s: Hold = 0.0
    return_s: Ramp = 3.0


class HandRaised(NamedTuple):
    """The hand goes up by a height (down if negative): the pressure in it changes by −ρ g Δh."""

    height_m: Annotated[float, quantity("m", -1.0, 1.0, "height above where it was", "scenario")] = 0.4
    start_s: Start = 10.0
    speed_m_s: Annotated[
        float, quantity("m/s", 0.005, 2.0, "speed of the hand", "4–5 cm/s: Raamat et al. 2009")
    ] = USUAL_m_s
    hold_s: Hold = 0.0


Event = Hypotension | Hypertension | LossOfPulse | HandRaised


def apply(trace: PressureTrace, event: Event) -> PressureTrace:
    """The trace with the event in it. Raises InputError for an event out of bounds or after the end of the trace."""
    label = type(event).__name__
    check_bounds(event)
    if event.start_s >= trace.duration_s:
        raise InputError(
            f"{label}.start_s = {event.start_s:g} s must lie within the trace of {trace.duration_s:.6g} s"
        )
    time = np.asarray(np.arange(len(trace.pressure_mmHg)) * trace.period_s)
    if isinstance(event, HandRaised):
        pressure = _hand_raised(trace, event, time)
    elif isinstance(event, LossOfPulse):
        pressure = _loss_of_pulse(trace, event, time)
    else:
        pressure = _to_level(trace, event, time)
    return trace._replace(
        pressure_mmHg=pressure, name=f"{trace.name} with {label}", source=f"{trace.source}; with {event}"
    )


def _share(time_s: Samples, start_s: float, ramp_s: float, hold_s: float, return_s: float) -> Samples:
    """From 0 to 1 and back by straight ramps; without a hold it stays at 1."""
    up = straight(time_s, start_s, ramp_s)
    if hold_s == 0.0:
        return up
    return np.asarray(up - np.clip((time_s - start_s - ramp_s - hold_s) / return_s, 0.0, 1.0))


def _mean_before(trace: PressureTrace, start_s: float) -> float:
    """Mean of the last seconds before an event, or of the first ones when it begins at once [mmHg]."""
    width = max(1, round(LOCAL_MEAN_s / trace.period_s))
    end = max(round(start_s / trace.period_s), width)
    return float(np.mean(trace.pressure_mmHg[max(0, end - width) : end]))


def _to_level(trace: PressureTrace, event: Hypotension | Hypertension, time_s: Samples) -> Samples:
    usable = trace.pressure_mmHg[trace.usable]
    mean = float(np.mean(usable if len(usable) else trace.pressure_mmHg))
    falls = isinstance(event, Hypotension)
    if (event.mean_mmHg >= mean) if falls else (event.mean_mmHg <= mean):
        raise InputError(
            f"{type(event).__name__}.mean_mmHg = {event.mean_mmHg:g} mmHg must be {'below' if falls else 'above'} "
            f"the trace's own mean of {mean:.4g} mmHg"
        )
    share = smooth(_share(time_s, event.start_s, event.ramp_s, event.hold_s, event.return_s))
    return np.asarray(trace.pressure_mmHg * (1.0 + share * (event.mean_mmHg / mean - 1.0)))


def _loss_of_pulse(trace: PressureTrace, event: LossOfPulse, time_s: Samples) -> Samples:
    gone = smooth(_share(time_s, event.start_s, event.fade_s, event.hold_s, event.return_s))
    mean = _mean_before(trace, event.start_s)
    since = np.maximum(time_s - event.start_s, 0.0)
    run_off = event.floor_mmHg + (mean - event.floor_mmHg) * np.exp(-since / event.run_off_s)
    return np.asarray((1.0 - gone) * trace.pressure_mmHg + gone * run_off)


def _hand_raised(trace: PressureTrace, event: HandRaised, time_s: Samples) -> Samples:
    ramp_s = way_s(event.height_m, event.speed_m_s, trace.period_s)
    share = _share(time_s, event.start_s, ramp_s, event.hold_s, ramp_s)
    return np.asarray(trace.pressure_mmHg - share * hydrostatic_mmHg(event.height_m))
