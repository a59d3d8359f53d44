"""What lies behind the arteries: how cardiac output is shared among the vascular beds, and their resistance.

Shares at rest are textbook values (from memory): brain 14 %, rest of the head 4 %, each forearm 1.5 % and hand 3 %,
kidneys 19 %, gut and liver 27 %, trunk 16 %, each leg and its pelvis 6 %. Within a region the ends share by the
cube of their radius (Murray, PNAS 1926;12:207). The heart's own vessels are left out.
"""
from __future__ import annotations

from typing import NamedTuple

from plant.circulation.geometry import ARTERIES

OUTFLOW_mmHg = 33.2  # arterial pressure at which flow stops: Parazynski 1993, second-hand
REGIONS: tuple[tuple[float, tuple[int, ...]], ...] = (  # share of cardiac output, arteries that end there
    (0.140, (62, 63, 69, 70, 72, 73, 74, 76, 93, 95)),  # brain
    (0.040, (78, 80, 82, 84, 86, 88, 89, 90, 91, 92)),  # rest of the head
    (0.015, (10,)), (0.015, (24,)),  # forearms
    (0.030, (102, 103, 104, 105)), (0.030, (112, 113, 114, 115)),  # hands
    (0.190, (36, 38)),  # kidneys
    (0.270, (31, 32, 33, 34, 40)),  # gut and liver
    (0.160, (26,)),  # trunk
    (0.060, (45, 47, 48, 49)), (0.060, (51, 53, 54, 55)),  # legs
)
HAND_REGION = 5


class Beds(NamedTuple):
    """Behind the arteries of one person."""

    resistance_mmHg_s_mL: float  # of all ends together; each has its share of it
    time_s: float  # R·C of each of them
    arm_time_s: float  # the same of forearms and hands
    hand: float  # factor on the resistance of the cuffed hand


def _shares() -> dict[int, float]:
    """Share of each end's node."""
    by_number = {artery.number: artery for artery in ARTERIES}
    shares: dict[int, float] = {}
    for share, numbers in REGIONS:
        weights = [by_number[n].outlet_radius_m ** 3 for n in numbers]
        for number, weight in zip(numbers, weights, strict=True):
            shares[by_number[number].outlet] = share * weight / sum(weights)
    total = sum(shares.values())
    return {node: share / total for node, share in shares.items()}


END_SHARES = _shares()
ARM_ENDS = frozenset(a.outlet for a in ARTERIES if a.number in (10, 24, *range(102, 106), *range(112, 116)))
HAND_ENDS = frozenset(a.outlet for a in ARTERIES if a.number in REGIONS[HAND_REGION][1])
