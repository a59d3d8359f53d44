"""What a loop's response does to readings, over many people: T(jω) on every harmonic of their finger pressures.

The changes are those of a beat in steady state. Output is that of Liljestrand & Zander, which sees the level as well.
"""
from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.limits.waves import Waves

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]
Response = Callable[[Samples], Complex]
SHARE = 0.95  # of people for whom a limit must hold


class Changes(NamedTuple):
    """Changes of each state's readings, shape (states,)."""

    systolic_mmHg: Samples
    diastolic_mmHg: Samples
    mean_mmHg: Samples
    pulse_percent: Samples
    output_percent: Samples


UNITS = {"systolic": "mmHg", "diastolic": "mmHg", "mean": "mmHg", "pulse": "%", "output": "%"}


def first_order(bandwidth_Hz: float) -> Response:
    """1/(1 + jf/f_b)."""
    return lambda frequency_Hz: np.asarray(1.0 / (1.0 + 1j * frequency_Hz / bandwidth_Hz))


def second_order(natural_Hz: float, damping: float) -> Response:
    """1/(1 − (f/f_0)² + 2 j ζ f/f_0)."""
    return lambda f: np.asarray(1.0 / (1.0 - (f / natural_Hz) ** 2 + 2j * damping * f / natural_Hz))


def changes(
    waves: Waves, response: Response | None = None, level_mmHg: float = 0.0, plain: Samples | None = None
) -> Changes:
    """What a response and a shift of the level do to the readings of all states; `plain` are the beats themselves."""
    plain = waves.pressure_mmHg() if plain is None else plain
    seen = plain if response is None else waves.pressure_mmHg(response(waves.frequency_Hz))
    return differences(plain, seen + level_mmHg)


def differences(plain: Samples, seen: Samples) -> Changes:
    """Readings of beats as they are seen less those of the beats themselves, [mmHg] (states, samples)."""
    (top, foot), (tops, feet) = ((np.max(p, axis=1), np.min(p, axis=1)) for p in (plain, seen))
    pulse, pulses = top - foot, tops - feet
    return Changes(
        tops - top, feet - foot, np.mean(seen, axis=1) - np.mean(plain, axis=1), 100.0 * (pulses / pulse - 1.0),
        100.0 * (pulses / (tops + feet) * (top + foot) / pulse - 1.0),
    )


def worst(waves: Waves, found: Changes, share: float = SHARE) -> dict[str, float]:
    """Size of each change that so large a share of people does not exceed in any of their states, by the reading."""
    return {name: waves.largest(np.abs(values), share) for name, values in zip(UNITS, found, strict=True)}
