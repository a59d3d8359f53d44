"""Which schedules are worth it: in each scenario the best rival of the one that all are held against."""
from __future__ import annotations

import math
from typing import NamedTuple

from experiments.calibration.schedule.summary import Summary

YARDSTICK = "every"  # the schedule that others are held against, where it is among them


class Against(NamedTuple):
    """The schedule with the least error at no more lost time than the yardstick's, in one scenario."""

    scenario: str
    schedule: str
    error_ratio: float
    lost_share: float
    yardstick_lost_share: float


def against_yardstick(found: list[Summary]) -> list[Against]:
    """Per scenario, what the best other schedule makes of the yardstick's error; none where it was not run."""
    best_of = []
    for scenario in dict.fromkeys(r.scenario for r in found):
        some = [r for r in found if r.scenario == scenario and math.isfinite(r.rms_mmHg)]
        base = next((r for r in some if r.schedule == YARDSTICK), None)
        rivals = [r for r in some if base and r is not base and r.lost_share <= base.lost_share]
        if base and rivals:
            best = min(rivals, key=lambda r: r.rms_mmHg)
            best_of.append(Against(scenario, best.schedule, best.rms_mmHg / base.rms_mmHg, best.lost_share,
                                   base.lost_share))
    return best_of
