"""Whether the linear loop's prediction of the servo's error agrees with what was simulated, in the pulse's band."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from experiments.check.judged import Judged
from experiments.check.judged import LOWEST_Hz as LOWEST_Hz
from experiments.simulation.simulate import Run
from experiments.subjects.spectrum import SEGMENT_s, rms_above

APART = 0.15  # as a share, by which prediction and simulation part


class Agreement(NamedTuple):
    """Predicted and simulated error [mmHg rms] above LOWEST_Hz."""

    predicted_mmHg: float
    simulated_mmHg: float

    @property
    def parted(self) -> bool:
        """Whether they are further apart than APART."""
        return abs(self.simulated_mmHg / self.predicted_mmHg - 1.0) > APART


def agreement(run: Run, loops: list[Judged]) -> Agreement | None:
    """Of a run at the true set point; None when it did not hold, is too short, or the loop is not stable."""
    predicted = [j.predicted_mmHg for j in loops if j.at_mean]
    counted = run.counted
    if run.status != "done" or not predicted or not all(np.isfinite(predicted)) or min(predicted) <= 0.0:
        return None
    if np.count_nonzero(counted) * run.period_s < SEGMENT_s:
        return None
    error = run.rig.plant.tissue.transmission * run.channels["cuff_mmHg"] - run.ideal_mmHg
    return Agreement(max(predicted), rms_above(error[counted], run.period_s, LOWEST_Hz))


def agreement_lines(found: Agreement | None) -> list[str]:
    """One line, and a remark where they part."""
    if found is None:
        return []
    by = 100.0 * (found.simulated_mmHg / found.predicted_mmHg - 1.0)
    line = (f"error above {LOWEST_Hz:g} Hz at the true set point: {found.predicted_mmHg:.2f} mmHg rms predicted, "
            f"{found.simulated_mmHg:.2f} simulated ({by:+.0f} %)")
    if found.parted:
        return [line, f"REMARK: prediction and simulation part by more than {100 * APART:g} %: trust the simulation;",
                "  the loop is not linear here (limits, dead band, the artery's curve), or has other noise"]
    return [line]
