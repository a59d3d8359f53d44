"""Probing in the clamp: a small tone on the set point tells the local slope of light against pressure.

While the set point is swept slowly, the slope at each light level is read off the tone's response in both signals:
light over reading at the probing frequency. By the arctangent law the slope of optical depth y = −ln(light) is
    1/s(y) = (1/s0) / cos²((y − y0)/(s0 w)) ≈ (1/s0) (1 + ((y − y0)/(s0 w))²),
so near the unloaded volume the reciprocal slope is a parabola with its vertex there, whatever the pulse does meanwhile.
"""
from __future__ import annotations

import math
from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Clamp, Instrument, Request, Samples, Seen
from plant.declare import quantity

SKIP_s = 0.15  # of a look, until the tone has built up
MOST_BLUR = 0.1  # beyond, the cubic no longer tells
START_SCATTER, LAG_SHARE = 0.03, 0.2
ROUNDS, FARTHEST = 8, 1.5  # of the fit; how far beyond the sweep one round may move the vertex, in half sweeps
CYCLES = 6  # of the tone in one Hann window: its side lobes then miss the harmonics of the pulse
Complex = NDArray[np.complex128]


class Probe(NamedTuple):
    """The probing signal."""

    tone_mmHg: Annotated[float, quantity("mmHg", 0.1, 10, "amplitude of the tone", "invented")] = 3.0
    sweep_mmHg: Annotated[float, quantity("mmHg", 0.5, 20, "largest amplitude of the slow sweep", "invented")] = 10.0
    sweep_s: Annotated[float, quantity("s", 0.5, 60, "period of the slow sweep", "invented")] = 1.25


class Shape(NamedTuple):
    """What is believed of the peak of the slope: its half-width, and how much wider one side is than the other."""

    width_mmHg: float
    width_spread: float = 0.3  # standard deviation of its logarithm
    skew: float = 0.0  # log of the half-width at larger depth over that at smaller depth
    skew_spread: float = 0.35


class Vertex(NamedTuple):
    """Where the slope is largest, by one stretch of probing."""

    depth: float  # optical depth y0 of the vertex
    relative_slope: float  # s0: −d ln(light)/dp at the vertex [1/mmHg]
    width_mmHg: float  # w
    sd_mmHg: float  # standard deviation of y0, as pressure
    scatter: float  # relative scatter of the slopes about the parabola
    middle: float  # mean optical depth of the stretch
    span: float  # half the range of optical depth that was covered
    shape: Shape = Shape(16.0)  # of the peak, with what is believed after the look


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


def local_slopes(seen: Seen, instrument: Instrument, skip_s: float) -> tuple[Samples, Samples, Samples]:
    """(time from the middle [s], optical depth, relative slope [1/mmHg]) four times per window, past `skip_s`."""
    ticks = window_ticks(instrument)
    if len(seen.light) < ticks:
        return np.zeros(0), np.zeros(0), np.zeros(0)
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
    time_s = (starts + 0.5 * (ticks - len(seen.light))) * instrument.period_s
    return time_s, -np.log(np.maximum(level, 1e-9)), slope / np.maximum(level, 1e-9)


def fit_vertex(
    time_s: Samples, depth: Samples, slope: Samples, shape: Shape, drift: tuple[float, float] = (0.0, 1e-3),
    sweep_s: float = math.inf,
) -> Vertex:
    """The vertex of the reciprocal slope: a parabola on either side of it, of one height and of two widths.

        1/s = (1/s0) (1 + ((p − p0(t))/w±)²),   log w± = log w ± skew/2,   p = ∫ dy/s
    The vertex may drift meanwhile (`drift` and its spread in mmHg/s); it is told for the middle of the time. The fit is
    a maximum of the posterior (Gauss–Newton), with beliefs where the sweep says little. A stretch whose response is no
    slope at all has infinite scatter.
    """
    middle, span = (float(np.mean(depth)), 0.5 * float(np.ptp(depth))) if len(depth) else (0.0, 0.0)
    typical = float(np.nan_to_num(np.median(slope))) if len(slope) else 0.0
    usable = slope > 0.2 * typical
    apart = float(np.ptp(depth[usable])) if np.any(usable) else 0.0
    if not (typical > 0.0 and np.sum(usable) > 4 and apart > 0.0 and np.all(np.isfinite(slope))):
        return Vertex(middle, max(typical, 1e-6), shape.width_mmHg, 100.0, math.inf, middle, span, shape)
    x = (depth[usable] - middle) / typical  # minus the pressure from the middle, nearly [mmHg]
    y = typical / slope[usable]  # about 1 + ((x − x0)/w)²
    weight = slope[usable] / typical  # the noise is that of the slope, not of its reciprocal
    time = time_s[usable]
    reach = FARTHEST * 0.5 * apart / typical
    behind = np.cos(2.0 * np.pi * time / sweep_s) if math.isfinite(sweep_s) else np.zeros(len(time))
    believed = np.array([-2.0 * math.log(shape.width_mmHg), shape.skew, drift[0], 0.0])
    lagging = LAG_SHARE * 0.5 * apart / typical
    stiff = np.array([2.0 * shape.width_spread, shape.skew_spread, drift[1], lagging]) ** -2.0
    height, vertex = start_of(x - drift[0] * time, y, weight, shape.width_mmHg, shape.width_spread)
    theta = np.array([max(height, 0.2), min(max(vertex, -4.0 * reach), 4.0 * reach), *believed])  # height, vertex, log of the curvature, skew, drift
    scatter = 0.05
    for count in range(ROUNDS):
        off = x - theta[1] - theta[4] * time - theta[5] * behind
        side = np.sign(off)
        bend = np.exp(theta[2] - side * theta[3])
        away = theta[0] + np.minimum(bend * off * off, 1.0) / 3.0  # mean of 1/s from the vertex to here
        square = bend * (off * away) ** 2
        pull = -2.0 * bend * off * away * away
        rows = np.column_stack([np.ones_like(x), pull, square, -side * square, pull * time, pull * behind])
        left = y - (theta[0] + square)
        scatter = float(np.sqrt(np.mean((left * weight) ** 2) * len(x) / max(len(x) - 3, 1))) if count else scatter
        w = weight / max(scatter, 1e-4)
        # neighbouring windows overlap by three quarters: about two of four tell anything new
        normal = 0.5 * rows.T @ (rows * (w * w)[:, None])
        right = 0.5 * rows.T @ (w * w * left)
        normal[[2, 3, 4, 5], [2, 3, 4, 5]] += stiff
        right[2:] += stiff * (believed - theta[2:])
        normal[1, 1] += 1e-6
        step = np.linalg.solve(normal, right)
        step[1] = min(max(step[1], -reach), reach)
        step[2:4] = np.clip(step[2:4], -0.7, 0.7)
        theta = theta + step
        theta[1] = min(max(theta[1], -4.0 * reach), 4.0 * reach)
    covariance = np.linalg.inv(normal)
    relative = typical / max(float(theta[0]), 0.2)
    scale = max(float(theta[0]), 0.2)
    told = Shape(math.exp(-0.5 * theta[2]) * math.sqrt(scale), 0.5 * math.sqrt(covariance[2, 2]), float(theta[3]),
                 math.sqrt(covariance[3, 3]))
    return Vertex(middle + float(theta[1]) * typical, relative, told.width_mmHg, math.sqrt(covariance[1, 1]), scatter,
                  middle, span, told)


def start_of(
    x: Samples, y: Samples, weight: Samples, width_mmHg: float, width_spread: float
) -> tuple[float, float]:
    """(height, vertex) of one parabola through reciprocal slopes: a linear problem, with a belief in its curvature."""
    rows = np.column_stack([np.ones_like(x), x, x * x])
    square = (weight / START_SCATTER) ** 2
    normal = 0.5 * rows.T @ (rows * square[:, None])
    right = 0.5 * rows.T @ (square * y)
    bend = width_mmHg**-2
    normal[2, 2] += (2.0 * width_spread * bend) ** -2
    right[2] += bend * (2.0 * width_spread * bend) ** -2
    found = np.linalg.solve(normal, right)
    offset = -float(found[1]) / (2.0 * max(float(found[2]), 0.1 * bend))
    return float(found[0]) - max(float(found[2]), 0.1 * bend) * offset * offset, offset


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
    time_s, depth, slopes = local_slopes(seen, instrument, SKIP_s)
    vertex = fit_vertex(time_s, depth, slopes, shape, drift, probe.sweep_s)
    blur = slope_blur(seen, instrument, vertex, SKIP_s)
    return vertex._replace(relative_slope=vertex.relative_slope * (1.0 + blur)), seen
