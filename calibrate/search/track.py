"""Level and drift of the unloaded volume, look by look: a two-state Kalman filter (Kalman 1960) that learns its unrest.

Between two looks the right level moves on with creep, veins and tone, in one direction for many looks. How restless a
finger is shows in how far its looks fall from what was expected: the filter scales its process noise by the mean square
of those normalised innovations, with a prior worth one look (adaptive filtering, Mehra 1970; from memory).
"""
from __future__ import annotations

import math
from typing import NamedTuple

from calibrate.search.vertex import Shape, Vertex

SPREAD, FLOOR_mmHg = 1.0, 0.15  # errors of looks over fingers: so many times the fit's own figure, plus this
PRIOR_LOOKS, MEMORY_LOOKS = 1.0, 4.0  # that the usual unrest is worth, and over which it is learnt
STRANGEST = 16.0  # square of a normalised innovation, beyond which it says no more
RECENT_LOOKS = 5.0  # over which what looks say of themselves is averaged
SURPRISE_SHARE, LOOK_SHARE, SKEW_SHARE, VEINS_DEPTH = 0.15, 0.3, 0.6, 1.3e-4  # see `stated_sd_mmHg`
UNREST = (0.05, 25.0)  # bounds of the scale of the process noise's variance
WIDTHS_mmHg = (6.0, 60.0)  # of the peak that are believed
SLOPE_GAIN = 0.4  # share of a new slope that is believed
UNSURE_mmHg, UNSURE_DRIFT_mmHg = 2.0, 0.3  # SD of a level in doubt, at least, and of its drift per look (invented)
SURE_mmHg = 2.0  # SD of a level beyond which looks tell nothing of the shape
SEEN_SHARE = 0.7  # of a half sweep: a vertex further out has shown one side only, and nothing of the shape
KEPT_SKEW, SKEW_UNREST, KEPT_WIDTH, LATER_SPREAD = 0.9, 0.08, 0.9, 0.25  # see `told`


class Motion(NamedTuple):
    """How the right level of a usual finger moves."""

    restless_mmHg: float  # jump from look to look, SD
    turning_mmHg: float  # change of its drift per look from look to look, SD
    kept: float = 1.0  # share of a drift that is left at the next look


class Track(NamedTuple):
    """Level and drift as they are believed, in optical depth; covariances as pressure."""

    depth: float
    drift: float  # of the depth, per look
    relative_slope: float
    shape: Shape
    level_variance: float  # [mmHg²]
    joint_variance: float
    drift_variance: float
    first: Shape  # belief before any look
    unrest: float = 1.0  # scale of the process noise's variance
    looks: float = 0.0  # that have told it
    surprise: float = 0.0  # mean square of the last innovations [mmHg²]
    lever_mmHg: float = 0.0  # by which levels move for a skew that is larger by 1
    look_variance: float = 0.0  # mean of what the last looks say of their own error [mmHg²]

    @classmethod
    def at(cls, depth: float, relative_slope: float, shape: Shape, sd_mmHg: float, drift_sd_mmHg: float) -> Track:
        """A level known to a standard deviation, with no drift known."""
        return cls(depth, 0.0, relative_slope, shape, sd_mmHg**2, 0.0, drift_sd_mmHg**2, shape)

    @classmethod
    def unsure(cls, depth: float, relative_slope: float, width_mmHg: float, skew: float, sd_mmHg: float) -> Track:
        """What wide looks go on from where a level is no longer known well, nor the shape."""
        shape = Shape(width_mmHg, skew=skew)
        return cls.at(depth, relative_slope, shape, max(sd_mmHg, UNSURE_mmHg), UNSURE_DRIFT_mmHg)

    @property
    def sd_mmHg(self) -> float:
        """Standard deviation of the level."""
        return math.sqrt(self.level_variance)

    @property
    def drift_mmHg(self) -> float:
        """Drift per look as pressure."""
        return self.drift / self.relative_slope

    @property
    def stated_sd_mmHg(self) -> float:
        """Standard deviation to tell.

        The filter's own would be right if looks erred independently; most of their error they share, and it does not
        fall with their number: of how far they surprised the filter, of their own variance, and of the skew's (which
        moves all alike) a share each. Blood in the veins moves by an optical depth that does not ask how much
        of an artery's answer there is: the less of it, the more pressure that is. Shares and depth by 150 fingers of
        each of five groups on both rigs (seed 3401); held against others in the guide.
        """
        unknown = self.lever_mmHg * self.shape.skew_spread
        veins = VEINS_DEPTH / self.relative_slope
        return math.sqrt(SURPRISE_SHARE * self.surprise + LOOK_SHARE * self.look_variance
                         + SKEW_SHARE * unknown**2 + veins**2)

    def ahead(self, motion: Motion, looks: float = 1.0) -> Track:
        """So many looks later, nothing seen."""
        jump, turn = self.unrest * motion.restless_mmHg**2, self.unrest * motion.turning_mmHg**2
        kept = motion.kept**looks
        joint = self.joint_variance + looks * self.drift_variance
        return self._replace(
            depth=self.depth + looks * self.drift, drift=kept * self.drift,
            level_variance=self.level_variance + looks * (self.joint_variance + joint)
            + looks * jump + looks**3 / 3.0 * turn,
            joint_variance=kept * joint + looks**2 / 2.0 * turn,
            drift_variance=kept**2 * self.drift_variance + looks * turn,
        )

    def coast(self, motion: Motion) -> Track:
        """One look later, which showed nothing: the drift dies away."""
        on = self.ahead(motion)
        return on._replace(drift=0.5 * on.drift)

    def see(self, vertex: Vertex, motion: Motion, reach: float = 1.5) -> Track:
        """One look later, with its vertex seen; it is believed as far as `reach` half sweeps from the middle."""
        on = self.ahead(motion)
        common = (vertex.lever_mmHg * vertex.shape.skew_spread) ** 2  # all looks share the error of the skew
        error = SPREAD**2 * max(vertex.sd_mmHg**2 - common, 0.0) + FLOOR_mmHg**2
        far = reach * vertex.span
        seen = vertex.middle + min(max(vertex.depth - vertex.middle, -far), far)
        innovation = (seen - on.depth) / self.relative_slope
        expected = on.level_variance + error
        gain, turn = on.level_variance / expected, on.joint_variance / expected
        strange = min(innovation * innovation / expected, STRANGEST)

        def recent(mean: float, now: float) -> float:
            return mean + (now - mean) / min(self.looks + 1.0, RECENT_LOOKS)

        unrest = self.unrest * (1.0 + (strange - 1.0) / (PRIOR_LOOKS + min(self.looks + 1.0, MEMORY_LOOKS)))
        shown = abs(vertex.depth - vertex.middle) < SEEN_SHARE * vertex.span and on.level_variance < SURE_mmHg**2
        return on._replace(
            depth=on.depth + gain * innovation * self.relative_slope,
            drift=on.drift + turn * innovation * self.relative_slope,
            relative_slope=self.relative_slope * (vertex.relative_slope / self.relative_slope) ** SLOPE_GAIN,
            shape=told(self.first, vertex.shape) if shown else self.shape,
            level_variance=(1.0 - gain) * on.level_variance, joint_variance=(1.0 - gain) * on.joint_variance,
            drift_variance=on.drift_variance - turn * on.joint_variance,
            unrest=min(max(unrest, UNREST[0]), UNREST[1]), looks=self.looks + 1.0,
            lever_mmHg=recent(self.lever_mmHg, vertex.lever_mmHg),
            surprise=recent(self.surprise, innovation * innovation),
            look_variance=recent(self.look_variance, vertex.sd_mmHg**2),
        )


def told(first: Shape, shape: Shape) -> Shape:
    """The shape believed at the next look: most of what this one told, and never so sure that looks could not undo it.

    Errors of shape and level feed each other: a wrong skew moves the vertex, the set point follows it, and the next
    look confirms what is wrong. A skew is therefore pulled towards what is usual, and its spread never ends.
    """
    width = min(max(shape.width_mmHg, WIDTHS_mmHg[0]), WIDTHS_mmHg[1])
    return Shape(first.width_mmHg * (width / first.width_mmHg) ** KEPT_WIDTH, min(first.width_spread, LATER_SPREAD),
                 first.skew + KEPT_SKEW * (shape.skew - first.skew),
                 min(math.hypot(shape.skew_spread, SKEW_UNREST), first.skew_spread))
