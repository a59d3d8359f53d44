"""Refit of the staircase with the beat that a clamp recorded as template.

In a hold at cuff pressure P the optical depth is
    y(t) = baseline + α [F(z) + κ ∫(F(z) − mean) dt],  z = (V(t) + δ − P)/w,
    F(z) = c± atan(z/c±) · 2/(π (c₊ + c₋)),  c± = e^{±s/2}, c₊ above the unloaded volume
where V(t) is what the clamp would have read meanwhile: the recorded beat on a level that respiration and slow waves
move. Unknown for all holds: α (optical depth between an empty and a full artery), w (half-width p1), s (log of the
half-width above the unloaded volume over that below, believed to be as in `vertex.py`), δ (how far the clamp sits above
the unloaded volume, as transmural pressure) and κ (creep of the wall within a beat, first order). Unknown for each
hold: level, rate and bend of V, gain and lateness of its beats; all with beliefs. Baselines and the unlikeness of beats
enter as Gaussian processes, so the covariance of the unknowns is honest about them.
"""
from __future__ import annotations

import math
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Samples
from calibrate.search.arctangent import WIDTH_SPREAD, ArctangentFit, WIDTH_mmHg
from calibrate.search.vertex import USUAL_SKEW
from calibrate.search.waveform import Beat, align, lay, moving_mean, record_beat, upstrokes

BIN_s = 0.02  # the fit sees means over this
STEADY_s = 0.01  # the clamp's own error is smoothed over this before it is added to its reading
# beliefs, invented, of the size that respiration, 0.1 Hz waves and beats have
BREATH_mmHg, BREATH_Hz, BREATH_SPREAD_Hz = 2.4, 0.25, 0.067  # 0.15–0.4 Hz: Task Force 1996
WAVE_mmHg, WAVE_Hz, WAVE_SPREAD_Hz = 2.0, 0.1, 0.012
LEVEL_mmHg = 100.0  # of the level all have in common
BEAT_mmHg = 0.3  # error of the mean pressure of one beat
CREEP_mmHg_s = 0.3  # drift of the clamp's transmural pressure
DEPTH_SPREAD = 0.6  # α about the coarse fit's, log-normal
CREEP_1_s, CREEP_SPREAD = 0.1, 0.9  # κ, log-normal
OF_HOLD = np.array([3.5, 3.0, 0.03, 0.02])  # SD of rate [mmHg/s], bend [mmHg/s²], gain, lateness [s] of a hold
WHITE, UNLIKE, UNLIKE_s = 0.01, 0.03, 0.1  # errors as shares of the pulsation: white, and correlated over so long
SLOPE_SHARE, BEND_SHARE = 0.3, 0.03  # of a baseline over half a hold, as shares of α
ROUNDS = 2  # align, fit, weigh, align, fit
USUAL_MISFIT = 0.9  # of a hold; one that fits worse counts for less in the second round
SKEW_STEP = 1e-4  # for derivatives by s
SHARED = 5  # unknowns that all holds have in common
OWN = 5  # unknowns of each hold


class Stretch(NamedTuple):
    """What the firmware saw over some time: a hold once settled, or a clamp."""

    start_s: float
    depth: Samples  # optical depth −ln(light), tick by tick
    reading_mmHg: Samples


class Seen(NamedTuple):
    """The holds that show beats, in bins."""

    time_s: Samples  # (bins,) from the beginning of each
    depth: Samples  # (holds, bins)
    pressure_mmHg: Samples  # (holds, bins) as read
    beats_s: list[Samples]  # upstrokes of each hold, and one more on either side


class WaveformFit(NamedTuple):
    """The law behind the staircase."""

    depth: float  # α
    width_mmHg: float  # w
    offset_mmHg: float  # δ
    offset_sd_mmHg: float
    unloaded_depth: Samples  # optical depth of the unloaded artery in each hold, at its middle
    unloaded_rate: Samples  # and its rate [1/s]
    unloaded_sd_mmHg: Samples  # and its standard deviation, as pressure
    balanced_mmHg: float  # cuff pressure at which the last hold would have had a mean F of 0: no creep
    misfit: float  # RMS of the whitened residuals, about 1
    skew: float = 0.0  # s

    @property
    def relative_slope(self) -> float:
        """Light per mmHg of cuff pressure at the unloaded volume, as a share of the light [1/mmHg]."""
        return self.depth / (math.pi * self.width_mmHg * math.cosh(0.5 * self.skew))


def share_of(z: Samples, skew: float) -> Samples:
    """F: part of an empty artery's way to a full one, from the unloaded volume."""
    side = np.where(z < 0.0, math.exp(-0.5 * skew), math.exp(0.5 * skew))
    return np.asarray(side * np.arctan(z / side) / (math.pi * math.cosh(0.5 * skew)))


def share_rate(z: Samples, skew: float) -> Samples:
    """dF/dz."""
    side = np.where(z < 0.0, math.exp(-0.5 * skew), math.exp(0.5 * skew))
    return np.asarray(1.0 / (math.pi * math.cosh(0.5 * skew) * (1.0 + (z / side) ** 2)))


def fit_waveform(holds: list[Stretch], clamp: Stretch, coarse: ArctangentFit, period_s: float) -> WaveformFit | None:
    """The most likely law; None when the clamp recorded no whole beat or fewer than three holds show any."""
    problem = pose(holds, clamp, coarse, period_s)
    return problem.solve() if problem else None


def pose(holds: list[Stretch], clamp: Stretch, coarse: ArctangentFit, period_s: float) -> Problem | None:
    """The least-squares problem of a refit."""
    steady = moving_mean(clamp.depth, max(round(STEADY_s / period_s), 1)) - np.mean(clamp.depth)
    beat = record_beat(clamp.reading_mmHg + steady / coarse.relative_slope, period_s)
    if beat is None:
        return None
    ticks = round(BIN_s / period_s)
    bins = min(len(h.depth) for h in holds) // ticks
    time: Samples = np.asarray((np.arange(bins) + 0.5) * ticks * period_s, np.float64)
    depth, pressure, middle, beats = [], [], [], []
    for hold in holds:
        last = len(hold.depth) - bins * ticks
        found = upstrokes(hold.depth[last:], period_s, max(0.3, 0.6 * beat.interval_s), 0.45)
        if not found:
            continue
        at = np.array(found) * period_s
        # the beats before and after may reach into view
        beats.append(np.concatenate([[at[0] - beat.interval_s], at, [at[-1] + beat.interval_s]]))
        depth.append(np.mean(hold.depth[last:].reshape(bins, ticks), axis=1))
        pressure.append(np.mean(hold.reading_mmHg[last:].reshape(bins, ticks), axis=1))
        middle.append(hold.start_s + last * period_s + float(np.mean(time)))
    if len(depth) < 3:
        return None
    level, covariance = level_belief(np.array(middle), beat, clamp, period_s)
    seen = Seen(time, np.array(depth), np.array(pressure), beats)
    whitener = np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))
    return Problem(beat, seen, level, whitener, coarse.depth, coarse.width_mmHg)


def slow_covariance(a_s: Samples, b_s: Samples) -> Samples:
    """Covariance of the level of arterial pressure between times: a common level, respiration and 0.1 Hz waves."""
    apart = 2.0 * np.pi * (a_s[:, None] - b_s[None, :])
    total = np.full(apart.shape, LEVEL_mmHg**2)
    for size, middle, spread in ((BREATH_mmHg, BREATH_Hz, BREATH_SPREAD_Hz), (WAVE_mmHg, WAVE_Hz, WAVE_SPREAD_Hz)):
        total += size**2 * np.exp(-0.5 * (spread * apart) ** 2) * np.cos(middle * apart)
    return total


def level_belief(time_s: Samples, beat: Beat, clamp: Stretch, period_s: float) -> tuple[Samples, Samples]:
    """Mean and covariance of what the clamp would have read at given times, from the beats that it did record."""
    recorded = clamp.start_s + beat.middle_s
    back = recorded - (clamp.start_s + len(clamp.depth) * period_s)
    own = slow_covariance(recorded, recorded) + CREEP_mmHg_s**2 * np.outer(back, back)
    own += BEAT_mmHg**2 * np.eye(len(back))
    cross = slow_covariance(time_s, recorded)
    gain = np.linalg.solve(own, cross.T).T
    middle = float(np.mean(beat.level_mmHg))
    spread = slow_covariance(time_s, time_s) - gain @ cross.T + BEAT_mmHg**2 * np.eye(len(time_s))
    return np.asarray(middle + gain @ (beat.level_mmHg - middle)), np.asarray(spread)


def _bent(below: Samples, gain: float, skew: float, value: Samples, near: NDArray[np.bool_]) -> Samples:
    return share_of(below[near] + gain * value, skew)


class Problem:
    """Whitened residuals and their derivatives: (log α, log w, δ, log κ, s; then level, rate, bend, gain, lateness)."""

    def __init__(
        self, beat: Beat, seen: Seen, level_mmHg: Samples, level_whitener: Samples, alpha: float, width_mmHg: float
    ) -> None:
        time_s, depth, beats = seen.time_s, seen.depth, seen.beats_s
        self.middle = np.mean(depth, axis=1)
        self.beat, self.time, self.pressure = beat, time_s, seen.pressure_mmHg
        self.depth = depth - self.middle[:, None]
        self.beats, self.level, self.level_whitener = beats, level_mmHg, level_whitener
        self.holds, self.bins = depth.shape
        self.step = float(time_s[1] - time_s[0])
        self.t = time_s - np.mean(time_s)
        self.bend = self.t**2 - np.mean(self.t**2)
        self.whitener = self._whitener(alpha)
        self.value, self.rate = np.zeros(depth.shape), np.zeros(depth.shape)
        self.start = np.concatenate(
            [[math.log(alpha), math.log(width_mmHg), 0.0, math.log(CREEP_1_s), USUAL_SKEW[0]], level_mmHg,
             np.zeros(4 * self.holds)])
        self.x = self.start  # the solution, once there is one
        self.scale = np.concatenate([[0.3, 0.3, 5.0, 0.5, 0.3], np.repeat([3.0, *OF_HOLD], self.holds)])

    def _whitener(self, alpha: float) -> Samples:
        x = self.t / (0.5 * np.ptp(self.t))
        line = self.depth - np.outer(self.depth @ x, x) / (x @ x)
        size = np.ptp(line, axis=1)[:, None, None] ** 2
        noise = np.var(np.diff(self.depth, 3, axis=1), axis=1)[:, None, None] / 20.0  # of white noise, (1 3 3 1)²
        apart = np.abs(self.time[:, None] - self.time[None, :])
        slow = 25.0 + SLOPE_SHARE**2 * np.outer(x, x) + BEND_SHARE**2 * np.outer(x * x - 1 / 3, x * x - 1 / 3)
        white = np.eye(self.bins)
        covariance = white * (WHITE**2 * size + noise) + UNLIKE**2 * size * np.exp(-apart / UNLIKE_s) + alpha**2 * slow
        return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))

    def place(self, x: Samples) -> None:
        """Lay the beats into the holds where the law at x has them best."""
        width, own = math.exp(x[1]), x[SHARED:].reshape(OWN, self.holds)
        for k in range(self.holds):
            below = own[0, k] + own[1, k] * self.t + own[2, k] * self.bend + x[2] - self.pressure[k]
            self.beats[k] = align(
                self.beat, self.beats[k] + own[4, k], self.time, self.depth[k],
                partial(_bent, below / width, (1.0 + own[3, k]) / width, float(x[4])))
            self.value[k], self.rate[k] = lay(self.beat, self.time, self.beats[k])

    def argument(self, x: Samples) -> Samples:
        """z of each hold and bin."""
        level, rate, bend, gain, late = x[SHARED:].reshape(OWN, self.holds, 1)
        above = level + rate * self.t + bend * self.bend + (1.0 + gain) * self.value - late * self.rate
        return np.asarray((above + x[2] - self.pressure) / math.exp(x[1]))

    def crept(self, share: Samples, kappa: float) -> Samples:
        """Share with what the wall creeps meanwhile, along the last axis."""
        return share + kappa * self.step * np.cumsum(share - np.mean(share, axis=-1, keepdims=True), axis=-1)

    def law(self, x: Samples) -> Samples:
        """Optical depth of each hold and bin, without its baseline."""
        share = share_of(self.argument(x), float(x[4]))
        return np.asarray(math.exp(x[0]) * self.crept(share, math.exp(x[3])))

    def residuals(self, x: Samples) -> Samples:
        """Whitened residuals, then beliefs."""
        seen = np.matmul(self.whitener, (self.law(x) - self.depth)[:, :, None]).ravel()
        own = x[SHARED:].reshape(OWN, self.holds)
        return np.concatenate([
            seen, [(x[0] - self.start[0]) / DEPTH_SPREAD, (x[1] - math.log(WIDTH_mmHg)) / WIDTH_SPREAD,
                   (x[3] - math.log(CREEP_1_s)) / CREEP_SPREAD, (x[4] - USUAL_SKEW[0]) / USUAL_SKEW[1]],
            self.level_whitener @ (own[0] - self.level), (own[1:] / OF_HOLD[:, None]).ravel()])

    def jacobian(self, x: Samples) -> Samples:
        """Derivatives of the residuals."""
        alpha, width, kappa = math.exp(x[0]), math.exp(x[1]), math.exp(x[3])
        z = self.argument(x)
        skew = float(x[4])
        share, slope = share_of(z, skew), share_rate(z, skew)
        skewed = (share_of(z, skew + SKEW_STEP) - share_of(z, skew - SKEW_STEP)) / (2.0 * SKEW_STEP)
        by = slope / width
        pieces = np.stack(
            [by, by * self.t, by * self.bend, by * self.value, -by * self.rate, -slope * z, skewed], axis=1)
        moved = alpha * self.crept(pieces, kappa)  # (holds, 7, bins)
        model = alpha * self.crept(share, kappa)
        columns = np.concatenate(
            [model[:, None], moved[:, 5:6], moved[:, :1], (model - alpha * share)[:, None], moved[:, 6:], moved[:, :5]],
            axis=1)
        white = np.matmul(self.whitener, columns.transpose(0, 2, 1))  # (holds, bins, 10)
        rows, count = self.holds * self.bins, len(x)
        beliefs = ((0, DEPTH_SPREAD), (1, WIDTH_SPREAD), (3, CREEP_SPREAD), (4, USUAL_SKEW[1]))
        result = np.zeros((rows + len(beliefs) + OWN * self.holds, count))
        for k in range(self.holds):
            block = result[k * self.bins : (k + 1) * self.bins]
            block[:, :SHARED] = white[k, :, :SHARED]
            block[:, SHARED + k :: self.holds] = white[k, :, SHARED:]
        for row, (unknown, spread) in enumerate(beliefs):
            result[rows + row, unknown] = 1.0 / spread
        rows += len(beliefs)
        result[rows : rows + self.holds, SHARED : SHARED + self.holds] = self.level_whitener
        others = np.arange(4 * self.holds)
        result[rows + self.holds + others, SHARED + self.holds + others] = 1.0 / np.repeat(OF_HOLD, self.holds)
        return result

    def solve(self) -> WaveformFit:
        """Align and fit, weigh down the holds that do not fit, align and fit again."""
        from scipy.optimize import least_squares

        x = self.start.copy()
        for count in range(ROUNDS):
            self.place(x)
            x[SHARED + 4 * self.holds :] = 0.0
            found = least_squares(
                self.residuals, x, jac=self.jacobian, method="trf", x_scale=self.scale, max_nfev=25)
            x = found.x.copy()
            if count + 1 < ROUNDS:
                seen = found.fun[: self.holds * self.bins].reshape(self.holds, self.bins)
                misfit = np.sqrt(np.mean(seen**2, axis=1))
                self.whitener = self.whitener / np.maximum(misfit / USUAL_MISFIT, 1.0)[:, None, None]
        self.x = found.x
        return self._told(found.x, found.jac, found.fun)

    def _told(self, x: Samples, jacobian: Samples, residuals: Samples) -> WaveformFit:
        covariance = np.linalg.inv(jacobian.T @ jacobian)
        z, skew = self.argument(x), float(x[4])
        left = self.depth - math.exp(x[0]) * share_of(z, skew)
        line = np.polynomial.polynomial.polyfit(self.t, left.T, 1)
        levels = np.arange(SHARED, SHARED + self.holds)
        variance = covariance[2, 2] + 2.0 * covariance[2, levels] + covariance[levels, levels]
        width, pressure = math.exp(x[1]), float(np.mean(self.pressure[-1]))
        low, high = float(np.min(z[-1])), float(np.max(z[-1]))  # z of the last hold's feet and peaks
        for _ in range(20):  # bisection: the mean of F falls as cuff pressure rises
            middle = 0.5 * (low + high)
            low, high = (middle, high) if np.mean(share_of(z[-1] - middle, skew)) > 0.0 else (low, middle)
        return WaveformFit(
            math.exp(x[0]), width, float(x[2]), math.sqrt(covariance[2, 2]), self.middle + line[0], line[1],
            np.sqrt(np.maximum(variance, 0.0)),
            pressure + 0.5 * (low + high) * width,
            float(np.sqrt(np.mean(residuals[: self.holds * self.bins] ** 2))), skew)
