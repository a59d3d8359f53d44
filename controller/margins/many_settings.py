"""Many settings of the control law on one prepared loop: their exact margins, compiled."""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.margins import OpenLoop, loop_grid
from controller.margins.survey import Curve, Survey, survey_many
from controller.tick.law import Coefficients

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SPARE = 20_000  # samples beyond the grid that one curve may need
GAINS = ("proportional", "integral_new", "integral_old", "derivative_gain")  # what one factor on all gains multiplies


class Prepared(NamedTuple):
    """A loop's plant on its frequency grid: what does not change with the settings."""

    plant: Any
    controller: Coefficients  # whose class the rows are of
    omega: Reals
    response: Complexes
    last: float
    plant_integrators: int
    unstable_poles: int
    period_s: float
    followed: bool


def prepare(loop: OpenLoop) -> Prepared:
    """A loop made ready for many settings of its controller, a `Coefficients`. Raises InputError as `margins` does."""
    omega, plant, last, followed = loop_grid(loop, 20)
    own = 1 if loop.controller.integral_new != 0.0 else 0
    return Prepared(loop.plant, loop.controller, omega, plant, last, loop.integrators - own, loop.unstable_poles,
                    loop.period_s, followed)


def rows_of(settings: list[Coefficients], gains: Reals) -> Reals:
    """Every setting at every factor on its gains, shape (settings · gains, fields); the factor changes fastest."""
    table = np.repeat(np.array(settings, float), len(gains), axis=0)
    columns = [Coefficients._fields.index(name) for name in GAINS]
    table[:, columns] *= np.tile(gains, len(settings))[:, None]
    return table


def survey_settings(prepared: Prepared, rows: Reals) -> Survey:
    """Exact margins of a prepared loop under each row of coefficients; every field has shape (rows,)."""
    integral = rows[:, Coefficients._fields.index("integral_new")] != 0.0
    integrators = prepared.plant_integrators + integral.astype(np.int64)
    outside = np.full(len(rows), prepared.unstable_poles, np.int64)
    found = survey_many(prepared.plant, prepared.controller, np.ascontiguousarray(rows),
                        Curve(prepared.omega, prepared.response, prepared.last), integrators, outside,
                        len(prepared.omega) + SPARE)
    return Survey(*found.T)
