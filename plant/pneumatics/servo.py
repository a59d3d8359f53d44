"""What both kinds of valve are made of: a second-order servo whose speed is limited, and play in its command.

    dx/dt = v,   dv/dt = 2ζω (limit(ω/(2ζ) (target − x), ±s) − v)
which is ω²(target − x) − 2ζω v while the speed limit s is not met (common practice: the wanted speed is limited, so
nothing winds up).
"""
from __future__ import annotations

import math

from plant.declare import inlined


@inlined
def servo_rates(
    natural_frequency_Hz: float, damping_ratio: float, speed_limit: float, target: float, position: float,
    velocity: float,
) -> tuple[float, float]:
    """Rates of position [unit/s] and velocity [unit/s²]; the speed limit is in unit/s."""
    omega = 2.0 * math.pi * natural_frequency_Hz
    twice = 2.0 * damping_ratio
    wanted = omega / twice * (target - position)
    limited = min(max(wanted, -speed_limit), speed_limit)
    return velocity, twice * omega * (limited - velocity)


@inlined
def follow_with_play(width: float, previous: float, command: float) -> float:
    """Follower behind mechanical play of a full width: it moves only when pushed. Exact for stepwise commands."""
    half = 0.5 * width
    return min(max(previous, command - half), command + half)
