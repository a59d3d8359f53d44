"""Many settings of the control law on one prepared loop: exact margins, and the servo's error, compiled.

The servo's error is how far the clamp lets the transmural pressure stray from its target, in mmHg: arterial pressure
through the sensitivity S, and the light's noise through the complementary sensitivity T = 1 − S.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.margins import OpenLoop, loop_grid
from controller.margins.survey import Curve, Survey, filled, survey_many
from controller.response import response
from controller.tick.law import Coefficients
from plant.declare import compiled

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


class Disturbance(NamedTuple):
    """What disturbs a loop, and its plant at those frequencies; arrays of shape (n,)."""

    omega_rad_s: Reals
    plant: Complexes
    pressure_mmHg2: Reals  # variance of arterial pressure at each frequency
    noise_mmHg2: Reals  # variance of the light's noise, through its slope


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


@compiled
def error_variances(
    template: Any, rows: Reals, omega: Reals, plant: Complexes, pressure: Reals, noise: Reals
) -> tuple[Reals, Reals]:
    """Variance [mmHg²] of the servo's error that pressure and noise make under each row, shape (rows,) each.

    It means something only where the loop is stable.
    """
    by_pressure, by_noise = np.zeros(len(rows)), np.zeros(len(rows))
    for i in range(len(rows)):
        controller = filled(template, rows[i])
        for k in range(len(omega)):
            gain = plant[k] * response(controller, omega[k])
            back = 1.0 + gain
            size = back.real * back.real + back.imag * back.imag
            by_pressure[i] += pressure[k] / size
            by_noise[i] += noise[k] * (gain.real * gain.real + gain.imag * gain.imag) / size
    return by_pressure, by_noise


def servo_errors(template: Coefficients, rows: Reals, disturbance: Disturbance) -> tuple[Reals, Reals]:
    """Rms [mmHg] of the servo's error by pressure and by noise under each row of coefficients."""
    pressure, noise = error_variances(template, np.ascontiguousarray(rows), *disturbance)
    return np.sqrt(pressure), np.sqrt(noise)
