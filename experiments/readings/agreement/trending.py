"""Whether changes are followed: four-quadrant concordance and the polar plot, on consecutive changes within subjects.

Critchley, Lee & Ho, Anesth Analg 2010;111:1180 (concordance above 92 % outside a zone of exclusion); polar: radius is
the mean of both changes, |ΔX + ΔR|/2, angle atan2(ΔX, ΔR) − 45° folded to ± 90° (Critchley and others, J Cardiothorac
Vasc Anesth 2011, from memory): mean within ± 5°, radial limits within ± 30°. The polar plot bends data (Saugel and
others 2015), so both are given.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.agreement.limits import NORMAL_95
from experiments.readings.agreement.pairs import Pairs, Samples

ROUNDING = 1e-9  # a change of exactly the zone's size counts, whatever its binary digits
WANTED_CONCORDANCE, WANTED_BIAS_deg, WANTED_LIMITS_deg = 0.92, 5.0, 30.0


class Changes(NamedTuple):
    """Consecutive changes within subjects, each of shape (changes,)."""

    tested: Samples
    reference: Samples
    level: Samples  # mean of the two references that the change lies between


class Trending(NamedTuple):
    """Figures of both plots."""

    changes: int
    outside: int  # of the zone, by the reference's change
    concordant: int
    concordance: float  # share; nan without changes
    polar: int  # changes whose radius is outside the zone
    angle_deg: float  # mean
    limits_deg: float  # 1.96 SD
    within_30: float  # share of angles within 30°


def changes_of(pairs: Pairs) -> Changes:
    """Differences from one pair to the subject's next."""
    same = pairs.subject[1:] == pairs.subject[:-1]
    middle = 0.5 * (pairs.reference[1:] + pairs.reference[:-1])
    return Changes(np.diff(pairs.tested)[same], np.diff(pairs.reference)[same], middle[same])


def angles_deg(changes: Changes) -> Samples:
    """Angle off the line of identity, −90 … 90°, of each change."""
    angle = np.degrees(np.arctan2(changes.tested, changes.reference)) - 45.0
    return np.asarray((angle + 90.0) % 180.0 - 90.0)


def radii(changes: Changes) -> Samples:
    """Mean size of each change."""
    return np.asarray(np.abs(changes.tested + changes.reference) / 2.0)


def outside(changes: Changes, zone: float, share: bool = False) -> NDArray[np.bool_]:
    """Changes whose reference moves by the zone or more; as a share of the level where `share`."""
    size = zone * np.abs(changes.level) if share else np.full(len(changes.level), zone)
    return np.asarray(np.abs(changes.reference) >= size - ROUNDING)


def trending(changes: Changes, zone: float, share: bool = False) -> Trending:
    """Concordance and polar figures with a zone of exclusion, in the unit of the values or as a share of the level."""
    kept = outside(changes, zone, share)
    agreeing = kept & (changes.tested * changes.reference > 0.0)
    size = zone * np.abs(changes.level) if share else np.full(len(changes.level), zone)
    far = radii(changes) >= size - ROUNDING
    angle = angles_deg(changes)[far]
    count, nan = int(np.count_nonzero(kept)), float("nan")
    several = len(angle) > 1
    return Trending(
        len(changes.level), count, int(np.count_nonzero(agreeing)),
        float(np.count_nonzero(agreeing) / count) if count else nan, len(angle),
        float(np.mean(angle)) if len(angle) else nan,
        NORMAL_95 * float(np.std(angle, ddof=1)) if several else nan,
        float(np.mean(np.abs(angle) <= 30.0)) if len(angle) else nan,
    )
