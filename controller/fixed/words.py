"""Words: whole numbers of a few bits that stand for real ones, and how an exact sum of 64 bits becomes one.

A word w with F bits after its point stands for w·2^-F. Sums are exact; a word that is stored is the sum plus half a
step of the word, shifted right, held to what the word can say (halves go upwards; without the half: towards minus
infinity). Nothing else rounds.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import inlined
from plant.numerics.vector import rounded_down

Wide = Annotated[int, "64 bits"]  # a whole number that emitted code keeps in 64 bits


class Store(NamedTuple):
    """How a sum becomes a word."""

    half: Wide  # half a step of the word in units of the sum; 0: rounded downwards
    shift: int  # bits that are dropped
    least: Wide  # smallest word
    greatest: Wide  # largest word


@inlined
def stored(total: Wide, store: Store) -> Wide:
    """The word nearest to a sum, at its limit where it has no such word."""
    return min(max((total + store.half) >> store.shift, store.least), store.greatest)


@inlined
def stored_real(value: float, scale: float, store: Store) -> Wide:
    """The word nearest to a real number that is `scale` times as many steps; not a number becomes the smallest word."""
    steps = rounded_down(value * scale + 0.5)
    return int(min(max(float(store.least), steps), float(store.greatest)))


@inlined
def bounded(total: Wide, most: Wide) -> Wide:
    """A sum that is kept in all its bits, held to ± `most`."""
    return min(max(total, -most), most)


def store(word_bits: int, shift: int, rounding: str = "nearest") -> Store:
    """The store of a word of so many bits, sign included. `rounding` is one of ROUNDINGS."""
    half = (1 << shift) >> 1 if rounding == "nearest" else 0
    return Store(half, shift, -(1 << (word_bits - 1)), (1 << (word_bits - 1)) - 1)


ROUNDINGS = ("nearest", "down")
