"""The 90 % interval of a reading: independent contributions by name, absolute and as change since a reference.

Relative contributions belong to volumes and flows (log-normal), others are in the reading's unit. What is common to two
readings of the same wearer (model constants, level, placement) cancels in a change; noise does not.
"""
from __future__ import annotations

import math
from typing import NamedTuple

NORMAL_90 = 1.6448536269514722  # two-sided 90 %


class Contribution(NamedTuple):
    """One source of error."""

    name: str
    sd: float  # in the reading's unit, or relative
    common: bool  # whether it is the same at both ends of a change


class Interval(NamedTuple):
    """A reading with its interval; `relative`: sd is that of its logarithm."""

    value: float
    sd: float
    relative: bool
    parts: tuple[Contribution, ...]

    @property
    def low(self) -> float:
        """Lower end, 5 %."""
        step = NORMAL_90 * self.sd
        return self.value * math.exp(-step) if self.relative else self.value - step

    @property
    def high(self) -> float:
        """Upper end, 95 %."""
        step = NORMAL_90 * self.sd
        return self.value * math.exp(step) if self.relative else self.value + step

    @property
    def change_sd(self) -> float:
        """SD of a change between two such readings."""
        return math.sqrt(2.0 * sum(part.sd**2 for part in self.parts if not part.common))

    def holds(self, truth: float) -> bool:
        """Whether a true value lies within."""
        return self.low <= truth <= self.high


def interval(value: float, parts: tuple[Contribution, ...], relative: bool = False) -> Interval:
    """Interval of independent contributions."""
    return Interval(value, math.sqrt(sum(part.sd**2 for part in parts)), relative, parts)
