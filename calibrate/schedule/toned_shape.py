"""The shape of the peak of the slope while tone changes: a constricted artery has a wider one than its search has seen.

A small sweep cannot tell a width: on the flank of a wide peak it sees the same gradient as at the kink of a narrow one.
Believed too narrow, a peak far away is told near, and the set point is left behind by tens of mmHg. The slope of the
light tells of tone instead. By the model of tone (`plant/finger/artery.py`) slope goes as φ A/p1 and width as p1:
    w ∝ slope^−n,    n = k_1 / (k_A + k_1 + β (1 − φ)), 0.2 by its defaults
It is twice that here, set on six fingers (seed 31, cold and pain) and judged on others: a search's own width is pulled
towards the usual one, the more the less the light answers.
"""
from __future__ import annotations

import math
from typing import NamedTuple

from calibrate.search.track import WIDTHS_mmHg
from calibrate.search.vertex import Shape

WIDENS = 0.4  # n
SLOPE_LOOKS = 16  # over which the slope is averaged: two 0.1 Hz waves


class TonedShape(NamedTuple):
    """The shape where the light has answered most, its relative slope there and now."""

    open_shape: Shape
    open_slope: float = 0.0  # [1/mmHg]
    log_slope: float = 0.0  # mean of the last looks
    looks: int = 0  # since the search that saw the shape; 0 before any search

    def found(self, shape: Shape, slope: float) -> TonedShape:
        """After a search: its shape counts where the light answers more than before."""
        if slope < self.open_slope:
            return self._replace(log_slope=math.log(slope), looks=max(self.looks, SLOPE_LOOKS))
        return TonedShape(shape, slope, math.log(slope))

    def see(self, slope: float) -> TonedShape:
        """After a look. In waves the first looks say what the slope of the search was worth."""
        looks = self.looks + 1
        now = self.log_slope + (math.log(slope) - self.log_slope) / min(looks + 1, SLOPE_LOOKS)
        known = math.exp(now) if looks <= SLOPE_LOOKS else self.open_slope
        return self._replace(open_slope=known, log_slope=now, looks=looks)

    @property
    def shape(self) -> Shape:
        """The shape now: never narrower than it was seen."""
        share = max(self.open_slope / math.exp(self.log_slope), 1.0)
        width = max(min(share**WIDENS * self.open_shape.width_mmHg, WIDTHS_mmHg[1]), self.open_shape.width_mmHg)
        return self.open_shape._replace(width_mmHg=width)
