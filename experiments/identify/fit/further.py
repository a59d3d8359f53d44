"""Which further recording would help most: information that each piece would add to what is known by now."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from experiments.identify.excite.plan import information_of
from experiments.identify.excite.recipe import PARTS, pieces_for
from experiments.identify.fit.study import Identified
from experiments.rigs.rig import Rig

LEAST_RATE_Hz = 1000.0


class Further(NamedTuple):
    """One piece that might be recorded next."""

    played: str
    seconds: float
    gain: float  # nats of the recordings' own information
    helps: str  # the number whose uncertainty it lowers most
    share: float  # to which it lowers that


def further(found: Identified, rig: Rig, ceiling_mmHg: float = 250.0) -> list[Further]:
    """Pieces for the rig as found, best for their time first."""
    free = found.problem.free
    rate = 1.0 / min(one.period_s for one in found.problem.recordings)
    jacobian = found.solution.jacobian
    known = jacobian.T @ jacobian + 1e-9 * np.eye(len(free))
    before = np.sqrt(np.diag(np.linalg.pinv(known)))
    ranked = []
    for piece in pieces_for(rig, PARTS, ceiling_mmHg, float(np.clip(rate, LEAST_RATE_Hz, 10_000.0)), 2):
        more = known + information_of(rig, free, piece)
        gain = 0.5 * float(np.linalg.slogdet(more)[1] - np.linalg.slogdet(known)[1])
        shares = np.sqrt(np.diag(np.linalg.pinv(more))) / before
        best = int(np.argmin(shares))
        ranked.append(Further(piece.played, len(piece.command) * piece.period_s, gain, free[best].name,
                              float(shares[best])))
    return sorted(ranked, key=lambda one: -one.gain / one.seconds)
