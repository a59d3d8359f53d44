"""Level of the unloaded volume where it may drift, jump or go up and down in 0.1 Hz waves: a bank of Kalman filters.

Each filter believes another restlessness and other waves; how well it foretold the last looks is its weight
(multiple-model estimation, Magill 1965, from memory), and old evidence fades. Its state is level, drift and the two
quadratures of a damped oscillator; time counts in looks. An eighth of a wave passes from one look to the next, and
what a look shows is in force one look later: a level without waves in it would be followed a quarter of a wave late.

Strong waves change the slope of the light as much as its level: a constricted artery answers a quarter as much as a
wide one. The logarithm of the slope is therefore learnt as a straight line over the waves (normalised least mean
squares, Widrow & Hoff 1960, from memory), and pressures here are optical depths over the slope without waves.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Found
from calibrate.search.track import SLOPE_GAIN, SPREAD, FLOOR_mmHg, Motion
from calibrate.search.vertex import Shape, Vertex

Samples = NDArray[np.float64]

LEVEL, DRIFT, WAVE, QUADRATURE = range(4)  # the state
RESTLESS = (0.15, 0.5, 1.5)  # of the motion given, each filter's jumps and turns (SD)
WAVES_mmHg = (3.0, 12.0)  # SD of the waves that a filter with waves expects, beside filters without
WAVES_Hz = (0.08, 0.1, 0.12)  # Mayer waves: about 0.1 Hz (Julien 2006)
COHERENT_s = 40.0  # over which their phase is kept: 1/(2 pi 0.004 Hz), as far as their frequency wanders (invented)
MEMORY = 0.97  # share of the evidence that is left at the next look
LEAST = 1e-6  # weight of a filter, that it may come back
STRANGEST = 16.0  # square of a normalised innovation, beyond which it says no more
SMALL_mmHg = 4.0  # waves below tell little of how the slope goes with them
STEEPEST = 0.2  # most by which the log of the slope is believed to change [1/mmHg]
KNOWN_mmHg = 0.3  # drift per look after a search, SD


class Models(NamedTuple):
    """What the filters of a bank believe; one row each."""

    restless: Samples  # (models,)
    waves_mmHg: Samples
    waves_Hz: Samples


def usual_models() -> Models:
    """Every restlessness with no waves and with waves of each size and frequency."""
    waves = [(0.0, 0.1), *((size, frequency) for size in WAVES_mmHg for frequency in WAVES_Hz)]
    rows = np.array([(restless, *wave) for restless in RESTLESS for wave in waves])
    return Models(*rows.T)


class LevelBank(NamedTuple):
    """What is believed after a look. Depths are optical depths; means and covariances are pressures."""

    models: Models
    motion: Motion
    look_s: float
    anchor: float  # optical depth from which levels are counted
    relative_slope: float  # -d ln(light)/dp at the set point [1/mmHg]
    shape: Shape
    mean_mmHg: Samples  # (models, 4)
    covariance: Samples  # (models, 4, 4) [mmHg^2]
    weight: Samples  # (models,), of sum 1
    steeper: float = 0.0  # by which the log of the slope changes with the waves [1/mmHg]

    @classmethod
    def after(cls, found: Found, shape: Shape, motion: Motion, look_s: float) -> LevelBank:
        """Where a search has ended."""
        models = usual_models()
        number = len(models.restless)
        covariance = np.zeros((number, 4, 4))
        covariance[:, 0, 0], covariance[:, 1, 1] = found.sd_mmHg**2, KNOWN_mmHg**2
        covariance[:, 2, 2] = covariance[:, 3, 3] = models.waves_mmHg**2
        return cls(models, motion, look_s, -math.log(found.set_point), found.light_slope / found.set_point, shape,
                   np.zeros((number, 4)), covariance, np.full(number, 1.0 / number))

    @property
    def _seen(self) -> Samples:
        """What a look shows of each state: waves are averaged over it."""
        flat = np.sinc(self.models.waves_Hz * self.look_s)
        return np.column_stack([np.ones_like(flat), np.zeros_like(flat), flat, np.zeros_like(flat)])

    def _transition(self, looks: float) -> Samples:
        """(models, 4, 4) from now to so many looks later."""
        angle = 2.0 * math.pi * self.models.waves_Hz * self.look_s * looks
        kept = math.exp(-abs(looks) * self.look_s / COHERENT_s)
        move = np.zeros((len(angle), 4, 4))
        move[:, 0, 0] = move[:, 1, 1] = 1.0
        move[:, 0, 1] = looks
        move[:, 2, 2] = move[:, 3, 3] = kept * np.cos(angle)
        move[:, 2, 3], move[:, 3, 2] = kept * np.sin(angle), -kept * np.sin(angle)
        return move

    def _later_mmHg(self, looks: float) -> Samples:
        """The mean state so many looks later, of all filters by their weight."""
        return np.asarray(self.weight @ np.einsum("mij,mj->mi", self._transition(looks), self.mean_mmHg))

    def level_mmHg(self, looks: float) -> float:
        """The level so many looks later, waves included, from the anchor."""
        later = self._later_mmHg(looks)
        return float(later[LEVEL] + later[WAVE])

    def wave_mmHg(self, looks: float) -> float:
        """What of it is waves."""
        return float(self._later_mmHg(looks)[WAVE])

    def course_mmHg(self, looks: Samples) -> Samples:
        """The level at several times, in looks from now."""
        grid = np.linspace(looks[0], looks[-1], 9)  # a tenth of a wave apart and less
        return np.asarray(np.interp(looks, grid, [self.level_mmHg(float(t)) for t in grid]))

    def slope(self, looks: float) -> float:
        """The relative slope that is expected so many looks later: a constricted artery answers less."""
        return self.relative_slope * math.exp(self.steeper * self.wave_mmHg(looks))

    def depth(self, looks: float) -> float:
        """Optical depth of the level so many looks later."""
        return self.anchor + self.relative_slope * self.level_mmHg(looks)

    @property
    def drift_sd_mmHg(self) -> float:
        """SD of the level's motion within a look."""
        turn = 2.0 * math.pi * self.models.waves_Hz * self.look_s
        own = self.covariance[:, 1, 1] + turn**2 * self.covariance[:, 3, 3]
        return math.sqrt(float(self.weight @ own))

    def coast(self) -> LevelBank:
        """One look later, which showed nothing."""
        move = self._transition(1.0)
        scale = self.models.restless**2
        jump, turn = scale * self.motion.restless_mmHg**2, scale * self.motion.turning_mmHg**2
        noise = np.zeros_like(self.covariance)
        noise[:, 0, 0], noise[:, 1, 1] = jump + turn / 3.0, turn
        noise[:, 0, 1] = noise[:, 1, 0] = 0.5 * turn
        waves = self.models.waves_mmHg**2 * (1.0 - math.exp(-2.0 * self.look_s / COHERENT_s))
        noise[:, 2, 2] = noise[:, 3, 3] = waves
        return self._replace(
            mean_mmHg=np.einsum("mij,mj->mi", move, self.mean_mmHg),
            covariance=move @ self.covariance @ move.transpose(0, 2, 1) + noise,
        )

    def see(self, vertex: Vertex, reach: float) -> LevelBank:
        """One look later, with its vertex seen; it is believed as far as `reach` half sweeps from the middle."""
        on = self.coast()
        sd = vertex.sd_mmHg * vertex.relative_slope / on.relative_slope
        common = (vertex.lever_mmHg * vertex.shape.skew_spread) ** 2  # all looks share the error of the skew
        error = SPREAD**2 * max(sd**2 - common, 0.0) + FLOOR_mmHg**2
        far = reach * vertex.span
        seen = vertex.middle + min(max(vertex.depth - vertex.middle, -far), far)
        shows = on._seen
        innovation = (seen - on.anchor) / on.relative_slope - np.einsum("mi,mi->m", shows, on.mean_mmHg)
        cross = np.einsum("mij,mj->mi", on.covariance, shows)
        expected = np.einsum("mi,mi->m", cross, shows) + error
        gain = cross / expected[:, None]
        strange = np.minimum(innovation**2 / expected, STRANGEST)
        evidence = MEMORY * np.log(on.weight) - 0.5 * (strange + np.log(expected))
        weight = np.maximum(np.exp(evidence - np.max(evidence)), LEAST)
        told = on._replace(
            mean_mmHg=on.mean_mmHg + gain * innovation[:, None],
            covariance=on.covariance - gain[:, :, None] * cross[:, None, :],
            weight=weight / np.sum(weight),
        )
        wave = on.wave_mmHg(0.0)
        missed = math.log(vertex.relative_slope / on.relative_slope) - on.steeper * wave
        steeper = on.steeper + SLOPE_GAIN * missed * wave / (wave * wave + SMALL_mmHg**2)
        return told._anchored(on.relative_slope * math.exp(SLOPE_GAIN * missed),
                              min(max(steeper, -STEEPEST), STEEPEST))

    def _anchored(self, relative_slope: float, steeper: float) -> LevelBank:
        """The same with levels counted from here, and another slope."""
        here = float(self.weight @ self.mean_mmHg[:, 0])
        mean = self.mean_mmHg.copy()
        mean[:, 0] -= here
        return self._replace(anchor=self.anchor + self.relative_slope * here, relative_slope=relative_slope,
                             mean_mmHg=mean, steeper=steeper)
