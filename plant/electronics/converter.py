"""Converter: a value as a finite number of levels shows it.

Mid-tread, so zero is a level and every reading a whole number of steps:  reading = step · floor(value/step + ½).
Beyond the outermost levels inside its range it is clipped to them; between them no reading is off by more than half a
step.
"""
from __future__ import annotations

from plant.declare import compiled
from plant.numerics.vector import choose, rounded_down

ROUNDING = 1e-6  # of a step: an end of the range that is a level but for rounding counts as one


@compiled
def convert(value: float, low: float, high: float, step: float) -> float:
    """Reading of `value` by a converter with range low … high and the given step, all in the value's unit.

    A step of zero or less means no levels, still clipped. NaN stays NaN. Common practice.
    """
    lowest, highest = -rounded_down(ROUNDING - low / step), rounded_down(high / step + ROUNDING)
    level = min(max(rounded_down(value / step + 0.5), lowest), highest)
    reading: float = choose(step > 0.0, step * level, value)
    return min(max(reading, low), high)
