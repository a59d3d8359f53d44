"""What the curve of the artery leaves of a loop's gain when the clamp lets transmural pressure swing.

Statistical linearisation (Booton 1954): under a Gaussian swing of SD σ about peak compliance the slope that a loop sees
is the mean of compliance over the swing. A smaller gain leaves a larger swing; both are found together.
"""
from __future__ import annotations

import numpy as np
from numpy.polynomial.hermite_e import hermegauss

from controller.margins.disturbed import Disturbance, disturbed
from controller.margins.many_settings import rows_of
from controller.tick.law import Coefficients
from plant.finger.artery import Artery, static_compliance, unloaded_pressure

NODES = 31  # of the mean over a Gaussian
ROUNDS, CLOSE = 40, 1e-4  # of the joint solution, and when it is one


def slope_left(artery: Artery, tone: float, swing_mmHg: float) -> float:
    """Mean compliance under a Gaussian swing of this SD about its peak, as a share of that at the peak."""
    at, weight = hermegauss(NODES)
    peak = float(unloaded_pressure(artery, tone))
    found = [float(static_compliance(artery, peak + swing_mmHg * float(z), tone)) for z in at]
    return float(np.dot(weight, found) / np.sum(weight)) / float(static_compliance(artery, peak, tone))


def swinging_rms_mmHg(coefficients: Coefficients, disturbance: Disturbance, artery: Artery, tone: float) -> float:
    """Rms of the servo's error [mmHg] with the artery's curve in the loop; where it is small, the linear loop's."""
    rows = rows_of([coefficients], np.ones(1))
    share, error = 1.0, float(disturbed(coefficients, rows, disturbance).rms_mmHg[0])
    for _ in range(ROUNDS):
        wanted = slope_left(artery, tone, error)
        if abs(wanted - share) < CLOSE:
            break
        share = 0.5 * (share + wanted)
        error = float(disturbed(coefficients, rows, _with_share(disturbance, share)).rms_mmHg[0])
    return error


def _with_share(disturbance: Disturbance, share: float) -> Disturbance:
    """The loop with so much of the artery's slope: the light shows less of pressures, not of veins and noise."""
    return disturbance._replace(plant=disturbance.plant * share, venous_mmHg2=disturbance.venous_mmHg2 / share**2,
                                cross_mmHg2=disturbance.cross_mmHg2 / share)
