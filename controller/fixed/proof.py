"""Proof by intervals that no sum of the fixed law leaves 63 bits, whatever the input.

Every word is held to its range when it is stored, and the integral when the tick ends. So each sum is at most the sum
of |coefficient| · largest word of its parts; partial sums are smaller. Nothing is assumed about signals: the bounds
hold for the words' whole range, from any state that the law itself can reach.
"""
from __future__ import annotations

from controller.fixed.law import FixedLaw
from controller.fixed.words import Store
from plant.errors import InputError

BITS = 63


def _largest(store: Store) -> int:
    return max(-store.least, store.greatest)


def largest_sums(law: FixedLaw) -> dict[str, int]:
    """The largest magnitude of every sum and of every state, by name: exact whole numbers."""
    error, led, clean, rate, demand = (
        _largest(store) for store in (law.error, law.lead, law.notch, law.rate, law.demand))
    # states: as a tick leaves them, and as a bumpless start presets them
    lead_state = max(abs(law.lead_b1) * error + abs(law.lead_a1) * led, law.lead_unit * led + abs(law.lead_b0) * error,
                     abs(law.lead_steady) * error + law.lead.half)
    second = abs(law.notch_b2) * led + abs(law.notch_a2) * clean
    first = max(abs(law.notch_b1) * led + abs(law.notch_a1) * clean + second,
                law.notch_unit * clean + abs(law.notch_b0) * led, abs(law.notch_steady) * led + law.notch.half)
    rate_state = abs(law.derivative_pole) * rate + abs(law.derivative_gain) * clean
    integral = law.integral_most + abs(law.integral_new) * clean
    share = abs(law.proportional) * clean
    return {
        "state of the lead": lead_state,
        "lead": abs(law.lead_b0) * error + lead_state + law.lead.half,
        "states of the notch": first,
        "notch": abs(law.notch_b0) * led + first + law.notch.half,
        "state of the derivative": rate_state,
        "derivative": abs(law.derivative_gain) * clean + rate_state + law.rate.half,
        "integral": integral + abs(law.integral_old) * clean + abs(law.tracking_gain) * 2 * demand,
        "demand": share + integral + law.rate_unit * rate + law.demand.half,
        "preset integral": law.demand_unit * demand + share + abs(law.integral_new) * clean,
    }


def prove(law: FixedLaw) -> dict[str, int]:
    """Bits that each sum and state can take, sign apart. Raises InputError naming one that could leave 63 bits."""
    taken = {}
    for name, size in largest_sums(law).items():
        taken[name] = size.bit_length()
        if taken[name] > BITS:
            raise InputError(
                f"the sum '{name}' of the fixed-point law could reach 2^{taken[name]}, beyond the {BITS} bits of a "
                "64-bit word: take shorter words or coefficients, or a smaller range")
    return taken
