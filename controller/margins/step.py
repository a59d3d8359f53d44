"""Small-signal step response of the sampled closed loop, tick by tick."""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop
from controller.margins.sampled import augmented
from controller.tick.law import controller_linear

Samples = NDArray[np.float64]


def tracking_step(loop: Loop, ticks: int) -> Samples:
    """Cuff-side answer [mmHg] at each tick to a 1 mmHg step of what the loop must follow, shape (ticks,).

    Linear and sampled: y = T r with T = L/(1+L), from the same matrices as the closed-loop poles.
    """
    a, b, c = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    ca, column, row, straight = controller_linear(loop.coefficients)
    cb, cc, cd = column[:, 0], row[0], float(straight[0, 0])
    x, xc, out = np.zeros(len(a)), np.zeros(len(ca)), np.empty(ticks)
    for k in range(ticks):
        out[k] = c @ x
        error = 1.0 - out[k]
        demand = cc @ xc + cd * error
        x, xc = a @ x + b * demand, ca @ xc + cb * error
    return out
