"""Repeatable noise: a pure function of seed, channel and tick, so that no order of work can change it.

The counter goes through the SplitMix64 finaliser (Steele, Lea & Flood 2014), then Box–Muller (1958).
"""
from __future__ import annotations

import math

import numpy as np

from plant.declare import compiled, inlined
from plant.numerics.elementary import cosine_of_turns, log
from plant.numerics.vector import as_float, word_of

LIGHT, PRESSURE, JITTER, MISSED, NOISE_CHANNELS = 0, 1, 2, 3, 4


@inlined
def scrambled(value: np.uint64) -> np.uint64:
    """SplitMix64 finaliser: a bijection of 64-bit words with well-mixed bits."""
    value = value + np.uint64(0x9E3779B97F4A7C15)
    value = (value ^ (value >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    value = (value ^ (value >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return value ^ (value >> np.uint64(31))


@compiled
def uniform(seed: int, channel: int, tick: int) -> float:
    """Uniform in [0, 1), 53 bits, from seed, channel and tick (each a non-negative integer)."""
    word = scrambled(scrambled(word_of(seed)) ^ scrambled(np.uint64(channel) * np.uint64(0x5851F42D4C957F2D)))
    word = scrambled(word ^ np.uint64(tick))
    return as_float(word >> np.uint64(11)) * 2.0**-53


@compiled
def gaussian(seed: int, channel: int, tick: int) -> float:
    """Standard normal number from seed, channel and tick."""
    radius = math.sqrt(-2.0 * log(1.0 - uniform(seed, channel, 2 * tick)))
    return radius * cosine_of_turns(uniform(seed, channel, 2 * tick + 1))
