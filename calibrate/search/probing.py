"""Probing in the clamp: a small tone on the set point tells the local slope of light against pressure.

While the set point is swept slowly, the slope at each light level is read off the tone's response in both signals:
light over reading at the probing frequency. It is largest at the unloaded volume, whatever the pulse does meanwhile;
`calibrate/search/vertex.py` finds that vertex.
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Clamp, Instrument, Request, Samples, Seen
from calibrate.search.vertex import Shape, Slopes, Vertex, fit_vertex
from plant.declare import quantity

SKIP_s = 0.15  # of a look, until the tone has built up
MOST_BLUR = 0.1  # share of the slope; beyond, the square no longer tells
MOST_BLUR_mmHg = 6.0
# of that range, what shifts a vertex: a law's slope levels off beyond its width, where the vertex's parabola goes on.
# Without it vertices lay 0.3 to 1.0 mmHg too low on both rigs (50 fingers of each of seven groups, seed 3501)
VERTEX_BLUR = 0.5
SMOOTH_CYCLES = 0.1  # of the tone, over which light is averaged before it counts as pressure
CYCLES = 6  # of the tone in one Hann window: its side lobes then miss the harmonics of the pulse
SWEEP_CYCLES = 20.0  # of the tone in a sweep, at least
WANTED_SCATTER, LOUDEST_mmHg = 0.08, 8.0  # of slopes, relative; of the tone, where they scatter more
Complex = NDArray[np.complex128]


class Probe(NamedTuple):
    """The probing signal."""

    tone_mmHg: Annotated[float, quantity("mmHg", 0.1, 10, "amplitude of the tone", "invented")] = 3.0
    sweep_mmHg: Annotated[float, quantity("mmHg", 0.5, 20, "largest amplitude of the slow sweep", "invented")] = 10.0
    sweep_s: Annotated[float, quantity("s", 0.5, 60, "period of the slow sweep", "invented")] = 1.25


def paced(probe: Probe, instrument: Instrument) -> Probe:
    """The probe with a sweep so slow that its windows, some cycles of the tone, do not blur it."""
    return probe._replace(sweep_s=max(probe.sweep_s, SWEEP_CYCLES / instrument.probe_Hz))


class Expected(NamedTuple):
    """How the right level is expected to move during a look."""

    drift_mmHg_s: float = 0.0  # of the level, towards larger volumes
    spread_mmHg_s: float = 0.5  # of that, SD
    course_mmHg: float | Samples = 0.0  # that the set point follows meanwhile, as cuff pressure


STANDING = Expected()


def probing_clamp(
    probe: Probe, instrument: Instrument, set_point: float, slope: float, sweep_mmHg: float, shown: bool,
    course_mmHg: float | Samples = 0.0,
) -> Clamp:
    """The request of one period of the sweep about a set point, which may follow a course."""
    time = np.arange(instrument.ticks(probe.sweep_s)) * instrument.period_s
    sweep = sweep_mmHg * np.sin(2.0 * np.pi * time / probe.sweep_s)
    return Clamp(set_point, slope, probe.sweep_s, sweep, probe.tone_mmHg, shown, "look", course_mmHg)


def loud_enough(probe: Probe, tone_mmHg: float, scatter: float) -> float:
    """Amplitude [mmHg] of the next tone: the probe's own, or as much more as brings the scatter of slopes down.

    A harmonic of a strong pulse may lie beside the tone, and a loop whose crossover is low leaves much of it.
    """
    needed = tone_mmHg * scatter / WANTED_SCATTER if math.isfinite(scatter) else LOUDEST_mmHg
    return max(probe.tone_mmHg, min(needed, LOUDEST_mmHg))


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


def blur_mmHg(seen: Seen, instrument: Instrument, skip_s: float) -> float:
    """Standard deviation of the range of pressures over which a window reads a slope, by light and reading.

    A tone of amplitude A reads the mean of the slope over a semicircle of variance A²/4 (describing function of any
    characteristic, Gelb & Vander Velde 1968, from memory); sweep and what the clamp leaves add their own variance in
    the window.
    """
    ticks, first = window_ticks(instrument), round(skip_s / instrument.period_s)
    light = seen.light[first:]
    if len(light) < ticks:
        return 0.0
    short = max(round(SMOOTH_CYCLES / instrument.probe_Hz / instrument.period_s), 1)
    smooth = np.convolve(light, np.full(short, 1.0 / short), "same")  # noise of the light is no pressure
    window = np.hanning(ticks + 2)[1:-1]
    window /= np.sum(window)
    turn = np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(len(light)))
    starts = np.arange(0, len(light) - ticks + 1, max(ticks // 4, 1))

    def pieces(signal: Samples | Complex) -> Complex:
        return np.asarray(np.lib.stride_tricks.sliding_window_view(signal, ticks)[starts], complex)

    level = pieces(smooth)
    inside = np.abs(level - (level @ window)[:, None]) ** 2 @ window
    tone = np.abs(2.0 * pieces((smooth - np.mean(smooth)) * turn) @ window) ** 2
    reading = seen.reading_mmHg[first:]
    tone_mmHg = np.abs(2.0 * pieces((reading - np.mean(reading)) * turn) @ window) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        square = tone_mmHg * (0.25 + np.maximum(inside / tone - 0.5, 0.0))
    blur = math.sqrt(float(np.median(square))) if np.all(np.isfinite(square)) else 0.0
    return min(blur, MOST_BLUR_mmHg)


Look = Generator[Request, Seen, tuple[Vertex, Seen]]


def look(
    probe: Probe, instrument: Instrument, set_point: float, slope: float, shape: Shape, sweep_mmHg: float,
    shown: bool = False, expected: Expected = STANDING,
) -> Look:
    """One period of the sweep with the tone on it, and the vertex that it shows."""
    seen = yield probing_clamp(probe, instrument, set_point, slope, sweep_mmHg, shown, expected.course_mmHg)
    spread = blur_mmHg(seen, instrument, SKIP_s)
    slopes = local_slopes(seen, instrument, SKIP_s)
    vertex = fit_vertex(slopes, shape, expected[:2], probe.sweep_s, VERTEX_BLUR * spread)
    return sharpened(vertex, spread), seen


def sharpened(vertex: Vertex, blur: float) -> Vertex:
    """The vertex with its own slope, for the mean over a range of pressures is less: by b²/w²."""
    lost = min((blur / vertex.width_mmHg) ** 2, MOST_BLUR)
    return vertex._replace(relative_slope=vertex.relative_slope * (1.0 + lost))
