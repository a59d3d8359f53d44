"""Probing in the clamp: a small tone on the set point tells the local slope of light against pressure.

While the set point is swept slowly, the slope at each light level is read off the tone's response in both signals:
light over reading at the probing frequency. It is largest at the unloaded volume, whatever the pulse does meanwhile;
`calibrate/search/vertex.py` finds that vertex.
"""
from __future__ import annotations

from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Clamp, Instrument, Request, Samples, Seen
from calibrate.search.vertex import Shape, Slopes, Vertex, fit_vertex
from plant.declare import quantity

SKIP_s = 0.15  # of a look, until the tone has built up
MOST_BLUR = 0.1  # beyond, the cubic no longer tells
CYCLES = 6  # of the tone in one Hann window: its side lobes then miss the harmonics of the pulse
Complex = NDArray[np.complex128]


class Probe(NamedTuple):
    """The probing signal."""

    tone_mmHg: Annotated[float, quantity("mmHg", 0.1, 10, "amplitude of the tone", "invented")] = 3.0
    sweep_mmHg: Annotated[float, quantity("mmHg", 0.5, 20, "largest amplitude of the slow sweep", "invented")] = 10.0
    sweep_s: Annotated[float, quantity("s", 0.5, 60, "period of the slow sweep", "invented")] = 1.25


def probing_clamp(
    probe: Probe, instrument: Instrument, set_point: float, slope: float, sweep_mmHg: float, shown: bool
) -> Clamp:
    """The request of one period of the sweep about a set point."""
    time = np.arange(instrument.ticks(probe.sweep_s)) * instrument.period_s
    sweep = sweep_mmHg * np.sin(2.0 * np.pi * time / probe.sweep_s)
    return Clamp(set_point, slope, probe.sweep_s, sweep, probe.tone_mmHg, shown, "look")


def window_ticks(instrument: Instrument) -> int:
    """Ticks of the window in which the tone's response is read."""
    return round(CYCLES / instrument.probe_Hz / instrument.period_s)


def local_slopes(seen: Seen, instrument: Instrument, skip_s: float) -> Slopes:
    """Slopes four times per window, past the first `skip_s`."""
    ticks = window_ticks(instrument)
    if len(seen.light) < ticks:
        return Slopes(np.zeros(0), np.zeros(0), np.zeros(0))
    window = np.hanning(ticks + 2)[1:-1]
    window /= np.sum(window)
    turn = np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(len(seen.light)))
    first = round(skip_s / instrument.period_s)
    starts = np.arange(first, len(seen.light) - ticks + 1, max(ticks // 4, 1))

    def read(signal: Samples, by: Complex | Samples) -> Complex:
        pieces = np.lib.stride_tricks.sliding_window_view(signal * by, ticks)[starts]
        return np.asarray(pieces @ window, complex)

    steady = np.ones(len(seen.light))
    level = read(seen.light, steady).real
    flat = seen.light - np.mean(seen.light)
    with np.errstate(divide="ignore", invalid="ignore"):  # a cuff that does not move at all says nothing: no number
        response = read(flat, turn) / read(seen.reading_mmHg - np.mean(seen.reading_mmHg), turn)
        slope = (response / instrument.probe_ratio).real
    bright = np.maximum(level, 1e-9)
    time_s = np.asarray((starts + 0.5 * (ticks - len(seen.light))) * instrument.period_s)
    return Slopes(time_s, np.asarray(-np.log(bright)), np.asarray(slope / bright))


def slope_blur(seen: Seen, instrument: Instrument, vertex: Vertex, skip_s: float) -> float:
    """Share by which the tone reads the slope at the vertex too low, because it reads over a range of pressures.

    Of the cubic term of the arctangent law, x − x³/(3 w²), a tone of amplitude A on a disturbance of variance q² sees
    −(A²/4 + q²)/w² (describing function of a cubic, from memory). Both are taken from the light and the reading.
    """
    first = round(skip_s / instrument.period_s)
    light, reading = seen.light[first:], seen.reading_mmHg[first:]
    ticks = window_ticks(instrument)
    count = len(light) // ticks
    if count < 1:
        return 0.0
    pieces = light[: count * ticks].reshape(count, ticks)
    inside = float(np.mean(np.var(pieces, axis=1))) / (vertex.relative_slope * float(np.mean(light))) ** 2
    turn = np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(count * ticks))
    tones = np.mean((reading[: count * ticks] * turn).reshape(count, ticks), axis=1)
    square = float(np.mean(np.abs(2.0 * tones) ** 2))
    blur = (0.25 * square + max(inside - 0.5 * square, 0.0)) / vertex.width_mmHg**2
    return min(blur, MOST_BLUR)


Look = Generator[Request, Seen, tuple[Vertex, Seen]]


def look(
    probe: Probe, instrument: Instrument, set_point: float, slope: float, shape: Shape, sweep_mmHg: float,
    shown: bool = False, drift: tuple[float, float] = (0.0, 0.5),
) -> Look:
    """One period of the sweep with the tone on it, and the vertex that it shows; `drift` and its spread in mmHg/s."""
    seen = yield probing_clamp(probe, instrument, set_point, slope, sweep_mmHg, shown)
    vertex = fit_vertex(local_slopes(seen, instrument, SKIP_s), shape, drift, probe.sweep_s)
    blur = slope_blur(seen, instrument, vertex, SKIP_s)
    return vertex._replace(relative_slope=vertex.relative_slope * (1.0 + blur)), seen
