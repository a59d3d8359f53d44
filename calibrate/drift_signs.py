"""Signs of drift that the firmware sees in the clamp without disturbing it."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from calibrate.protocol import Found, Seen
from calibrate.schedule import Beats


class Signs(NamedTuple):
    """What one stretch of clamp shows."""

    residual: float  # SD of the light's error as pressure over the SD of the reading: about 1/(1 + loop gain)
    mean_mmHg: float
    pulse_mmHg: float
    mean_command: float

    def with_previous(self, before: Signs) -> Signs:
        """The mean of this stretch and the one before: a single breath does not alarm."""
        return Signs(*(0.5 * (a + b) for a, b in zip(self, before, strict=True)))


def signs_of(seen: Seen, found: Found, beats: Beats) -> Signs:
    """Signs of one stretch of clamp at a set point."""
    error = (seen.light - found.set_point) / found.light_slope
    return Signs(
        float(np.std(error)) / max(float(np.std(seen.reading_mmHg)), 1e-9), beats.mean_mmHg,
        beats.systolic_mmHg - beats.diastolic_mmHg, float(np.mean(seen.command)),
    )
