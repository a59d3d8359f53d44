"""The vertex of the reciprocal slope of light against pressure, from the slopes of one look.

    1/s = (1/s0) (1 + ((p − p0(t))/w±)²),    log w± = log w ± skew/2,    p = ∫ dy/s
    p0(t) = p0 + drift t + lag cos(2πt/T)
By the arctangent law the reciprocal slope is a parabola of the transmural pressure about its vertex; where a law is not
symmetric its two sides have two widths. Nothing else of a law enters. What the sweep itself moves behind it (veins that
it squeezes, a wall that creeps) is a lag in quadrature with it, and what moves on by itself a drift: without either, up
and down of a sweep see different levels, which looks like a skew. A slope is read over a range of pressures (tone,
sweep within a window, what the clamp leaves), of variance b². With different widths that moves the seen vertex towards
the wider side, by about 0.8 b (w₊² − w₋²)/(w₊² + w₋²); so each side's parabola is taken as the mean over that range:
    E[u²] = u² + b²,    E[u |u|] = (u² + b²) erf(u/(b√2)) + u b √(2/π) exp(−u²/(2b²))    (of a normal distribution)
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

# Published laws: 0 (arctangent), 0.78 (exponential–linear, best of eight on patients), 1.3 (Babbs 2012, second-hand)
USUAL_SKEW = (0.5, 0.45)
FEWEST, USABLE = 4, 0.2  # slopes that a fit needs more than; share of the median below which one is left out
START_SCATTER, ROUNDS = 0.03, 8  # of the fit
FARTHEST = 1.5  # half sweeps by which one round may move the vertex, a quarter of how far it may be from the middle
LAG_SHARE = 0.2  # of the half sweep: spread of the lag
STEP = 0.7  # most by which one round changes the logarithms of the shape
HOPELESS, MOST_SPREADS = 1e3, 20.0  # scatter that is no fit at all; spreads from a belief that none needs
LEAST_BLUR_mmHg = 0.3  # below which the kink between both sides is as good as sharp
STEEP = 1.0  # of ((p − p0)/w)²: depth is turned into pressure as if it were no more


class Shape(NamedTuple):
    """What is believed of the peak of the slope: its half-width, and how much wider one side is than the other."""

    width_mmHg: float
    width_spread: float = 0.3  # standard deviation of its logarithm
    skew: float = USUAL_SKEW[0]  # log of the half-width at larger depth over that at smaller depth
    skew_spread: float = USUAL_SKEW[1]


class Vertex(NamedTuple):
    """Where the slope is largest, by one stretch of probing."""

    depth: float  # optical depth y0 of the vertex
    relative_slope: float  # s0: −d ln(light)/dp at the vertex [1/mmHg]
    sd_mmHg: float  # standard deviation of y0, as pressure
    scatter: float  # relative scatter of the slopes about the parabola
    middle: float  # mean optical depth of the stretch
    span: float  # half the range of optical depth that was covered
    shape: Shape  # with what is believed after the look
    lever_mmHg: float = 0.0  # by which the vertex moves for a skew that is larger by 1, as pressure

    @property
    def width_mmHg(self) -> float:
        """Half-width of the peak."""
        return self.shape.width_mmHg


class Slopes(NamedTuple):
    """Slopes along one look."""

    time_s: Samples  # from its middle
    depth: Samples  # optical depth
    slope: Samples  # relative [1/mmHg]


def fit_vertex(
    seen: Slopes, shape: Shape, drift: tuple[float, float] = (0.0, 1e-3), sweep_s: float = math.inf,
    blur_mmHg: float = 0.0,
) -> Vertex:
    """The most likely vertex, at the middle of the time, with beliefs in its shape and its drift (mean, SD; mmHg/s).

    `sweep_s` is the sweep's period; infinite for no lag. `blur_mmHg` is the SD of the
    pressures over which each slope was read. A stretch whose response is no slope has infinite scatter.
    """
    depth, slope = seen.depth, seen.slope
    middle, span = (float(np.mean(depth)), 0.5 * float(np.ptp(depth))) if len(depth) else (0.0, 0.0)
    typical = float(np.nan_to_num(np.median(slope))) if len(slope) else 0.0
    usable = slope > USABLE * typical
    apart = float(np.ptp(depth[usable])) if np.any(usable) else 0.0
    if not (typical > 0.0 and np.sum(usable) > FEWEST and apart > 0.0 and np.all(np.isfinite(slope))):
        return Vertex(middle, max(typical, 1e-6), 100.0, math.inf, middle, span, shape)
    time = seen.time_s[usable]
    behind = np.cos(2.0 * np.pi * time / sweep_s) if math.isfinite(sweep_s) else np.zeros(len(time))
    half = 0.5 * apart / typical
    problem = _Problem(
        (depth[usable] - middle) / typical, typical / slope[usable], np.column_stack([time, behind]), half,
        np.array([-2.0 * math.log(shape.width_mmHg), shape.skew, drift[0], 0.0]),
        np.array([2.0 * shape.width_spread, shape.skew_spread, drift[1], LAG_SHARE * half]),
        max(blur_mmHg, LEAST_BLUR_mmHg),
    )
    theta, covariance, scatter = problem.solve()
    height = max(float(theta[0]), USABLE)
    told = Shape(math.exp(-0.5 * theta[2]) * math.sqrt(height), 0.5 * math.sqrt(covariance[2, 2]), float(theta[3]),
                 math.sqrt(covariance[3, 3]))
    return Vertex(middle + float(theta[1]) * typical, typical / height, math.sqrt(covariance[1, 1]), scatter, middle,
                  span, told, float(covariance[1, 3] / covariance[3, 3]))


class _Problem(NamedTuple):
    """Unknowns: height, vertex, log of the curvature, skew, drift, lag; the last four with beliefs. Pressures in mmHg
    by the median slope, reciprocal slopes in those of it."""

    x: Samples  # depth from the middle, as pressure: minus the transmural pressure, nearly
    y: Samples  # reciprocal slope
    moving: Samples  # time and sweep's quadrature, shape (slopes, 2)
    half_mmHg: float  # half sweep
    believed: Samples
    spread: Samples
    blur_mmHg: float

    def start(self) -> Samples:
        """One parabola through all: a linear problem, with the belief in its curvature."""
        x = self.x - self.believed[2] * self.moving[:, 0]
        rows = np.column_stack([np.ones_like(x), x, x * x])
        square = (1.0 / (self.y * START_SCATTER)) ** 2
        normal, right = 0.5 * rows.T @ (rows * square[:, None]), 0.5 * rows.T @ (square * self.y)
        bend = math.exp(self.believed[0])
        stiff = (self.spread[0] * bend) ** -2.0
        normal[2, 2] += stiff
        right[2] += bend * stiff
        found = np.linalg.solve(normal, right)
        bend = max(float(found[2]), 0.1 * bend)
        offset, most = -float(found[1]) / (2.0 * bend), 4.0 * FARTHEST * self.half_mmHg
        height = max(float(found[0]) - bend * offset * offset, USABLE)
        return np.array([height, min(max(offset, -most), most), *self.believed])

    def solve(self) -> tuple[Samples, Samples, float]:
        """(unknowns, their covariance, relative scatter) by Gauss–Newton.

        Noise is that of the slope, not of its reciprocal. Neighbouring windows overlap by three quarters: about two of
        four tell anything new.
        """
        theta, scatter, most = self.start(), START_SCATTER, FARTHEST * self.half_mmHg
        normal = np.eye(len(theta))
        for count in range(ROUNDS):
            rows, left = self.linear(theta)
            if count:
                freedom = len(left) / max(len(left) - 3, 1)
                scatter = math.sqrt(float(np.mean((left / self.y) ** 2)) * freedom)
                if not scatter < HOPELESS:
                    return theta, np.eye(len(theta)), math.inf
            square = 1.0 / (self.y * max(scatter, 1e-4)) ** 2
            normal, right = 0.5 * rows.T @ (rows * square[:, None]), 0.5 * rows.T @ (square * left)
            stiff = self.spread**-2.0
            normal[[2, 3, 4, 5], [2, 3, 4, 5]] += stiff
            right[2:] += stiff * (self.believed - theta[2:])
            normal[1, 1] += 1e-6
            step = np.linalg.solve(normal, right)
            step[1] = min(max(step[1], -most), most)
            step[2:4] = np.clip(step[2:4], -STEP, STEP)
            theta = theta + step
            theta[1] = min(max(theta[1], -4.0 * most), 4.0 * most)
            theta[2:] = self.believed + np.clip(theta[2:] - self.believed, -MOST_SPREADS * self.spread,
                                                MOST_SPREADS * self.spread)
        return theta, np.asarray(np.linalg.inv(normal)), scatter

    def linear(self, theta: Samples) -> tuple[Samples, Samples]:
        """(derivatives of the reciprocal slopes, what is left of them) at some unknowns."""
        off = self.x - theta[1] - self.moving @ theta[4:]
        bend, even, odd = math.exp(theta[2]), math.cosh(theta[3]), math.sinh(theta[3])
        away = theta[0] + np.minimum(bend * np.exp(-np.sign(off) * theta[3]) * off * off, STEEP) / 3.0
        apart = off * away  # pressure from the vertex: `away` is the mean of 1/s from there to here
        kink, steep = kinked(apart, self.blur_mmHg)
        square = bend * (even * apart * apart - odd * kink)
        pull = -bend * (2.0 * even * apart - odd * steep) * away
        skewed = bend * (odd * apart * apart - even * kink)
        rows = np.column_stack([np.ones_like(off), pull, square, skewed, pull[:, None] * self.moving])
        return rows, self.y - (theta[0] + square)


def kinked(apart: Samples, blur: float) -> tuple[Samples, Samples]:
    """(mean of u |u|, its derivative) where u is normal about `apart` with standard deviation `blur`."""
    from scipy.special import erf

    side = np.asarray(erf(apart / (blur * math.sqrt(2.0))))
    bell = blur * math.sqrt(2.0 / math.pi) * np.exp(-0.5 * (apart / blur) ** 2)
    return (apart * apart + blur * blur) * side + apart * bell, 2.0 * (apart * side + bell)
