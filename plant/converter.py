"""Converter: a value as a finite number of steps shows it, clipped at the ends of its range.

Mid-tread, so zero is a level:  reading = step · floor(value/step + ½),  then held within low … high. The clipped ends
are readings too, whether or not they are multiples of the step; inside the range no reading is off by more than half
a step.
"""
from __future__ import annotations

import math

from plant.declare import compiled


@compiled
def convert(value: float, low: float, high: float, step: float) -> float:
    """Reading of `value` by a converter with range low … high and the given step, all in the value's unit.

    A step of zero or less means no steps, still clipped. Common practice.
    """
    reading = value
    if step > 0.0:
        reading = step * math.floor(value / step + 0.5)
    return min(max(reading, low), high)
