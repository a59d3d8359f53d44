"""The control law on words: lead, notch and PID of `controller.tick.law`, block for block and state for state.

Five signals are words: error, what the lead and the notch make of it, the derivative, and the demand. Everything
between two words is one exact sum: a filter's state is the unrounded part of its next sum, and the integral is never
rounded at all, however small its steps (a *wide* integral). Each coefficient carries the bits that bring its product to
the sum's own point, so that no product is shifted. Limits, actuator stage and set point stay real numbers.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from controller.fixed.words import Store, Wide, bounded, stored, stored_real
from controller.tick.check_sum import ONES, Word, crc_step, settings_sum
from controller.tick.law import Terms, bumpless_start, control_demand, control_settle, told_terms
from plant.declare import inlined
from plant.numerics.vector import held_bits, held_size


class FixedLaw(NamedTuple):
    """The law as the tick runs it on words: scales of the words, whole coefficients, and how each sum is stored."""

    period_s: float  # tick
    output_low: float  # command
    output_high: float  # command
    slew_per_tick: float  # command a tick
    output_quantum: float  # command; 0 for no steps
    error_scale: float  # words per mmHg
    error_step: float  # mmHg a word
    lead_step: float  # mmHg a word
    notch_step: float  # mmHg a word
    rate_step: float  # command a word
    demand_scale: float  # words per full command
    demand_step: float  # command a word
    lead_b0: Wide  # of this tick's error
    lead_b1: Wide  # of the last error
    lead_a1: Wide  # of the last output, taken away
    lead_steady: Wide  # gain of the lead for a steady error
    lead_unit: Wide  # one word of the lead in units of its sum
    notch_b0: Wide  # of this tick's input
    notch_b1: Wide  # of the last
    notch_b2: Wide  # and of the one before
    notch_a1: Wide  # of the last output, taken away
    notch_a2: Wide  # and of the one before
    notch_steady: Wide  # gain of the notch for a steady error
    notch_unit: Wide  # one word of the notch in units of its sum
    derivative_gain: Wide  # of a change
    derivative_pole: Wide  # of the last output
    proportional: Wide  # in units of the demand's sum, as all below
    integral_new: Wide  # of this tick's filtered error
    integral_old: Wide  # of the last
    tracking_gain: Wide  # of what a limit took from the demand
    rate_unit: Wide  # one word of the derivative
    demand_unit: Wide  # one word of the demand
    integral_most: Wide  # largest integral
    error: Store  # how the error becomes a word
    lead: Store  # and what comes out of the lead
    notch: Store  # of the notch
    rate: Store  # of the derivative
    demand: Store  # and the demand


class FixedState(NamedTuple):
    """What the law remembers between ticks: sums, in the units of their own; all zero at rest."""

    lead: Wide  # part of the lead's next sum that is known already
    notch_1: Wide  # the same of the notch
    notch_2: Wide  # and of the notch one tick later
    integral: Wide  # in units of the demand's sum, never rounded
    derivative: Wide  # part of the derivative's next sum that is known already


class FixedTerms(NamedTuple):
    """What each block said on one tick: words, and the two sums that are never rounded."""

    error: Wide
    lead: Wide
    notch: Wide
    proportional: Wide  # in units of the demand's sum
    integral: Wide  # in units of the demand's sum
    rate: Wide
    demand: Wide


def initial_fixed() -> FixedState:
    """The law at rest."""
    return FixedState(0, 0, 0, 0, 0)


@control_demand.of(FixedLaw)
def fixed_demand(law: FixedLaw, state: FixedState, error_mmHg: float) -> tuple[float, FixedTerms]:
    """Demand (fraction of full command) for this tick's error [mmHg], and what each block said."""
    error = stored_real(error_mmHg, law.error_scale, law.error)
    led = stored(law.lead_b0 * error + state.lead, law.lead)
    clean = stored(law.notch_b0 * led + state.notch_1, law.notch)
    rate = stored(law.derivative_gain * clean + state.derivative, law.rate)
    proportional = law.proportional * clean
    integral = law.integral_new * clean + state.integral
    demand = stored(proportional + integral + law.rate_unit * rate, law.demand)
    return law.demand_step * float(demand), FixedTerms(error, led, clean, proportional, integral, rate, demand)


@control_settle.of(FixedLaw)
def fixed_settle(law: FixedLaw, state: FixedState, terms: FixedTerms, achieved_demand: float) -> FixedState:
    """State for the next tick, once it is known what demand the limited command achieves."""
    led, clean = terms.lead, terms.notch
    achieved = stored_real(achieved_demand, law.demand_scale, law.demand)
    integral = terms.integral + law.integral_old * clean + law.tracking_gain * (achieved - terms.demand)
    return FixedState(
        law.lead_b1 * terms.error - law.lead_a1 * led,
        law.notch_b1 * led - law.notch_a1 * clean + state.notch_2,
        law.notch_b2 * led - law.notch_a2 * clean,
        bounded(integral, law.integral_most),
        law.derivative_pole * terms.rate - law.derivative_gain * clean,
    )


@bumpless_start.of(FixedLaw)
def fixed_start(law: FixedLaw, error_mmHg: float, demand: float) -> FixedState:
    """State from which the next tick at this error [mmHg] gives this demand: filters settled, integral preset."""
    error = stored_real(error_mmHg, law.error_scale, law.error)
    led = stored(law.lead_steady * error, law.lead)
    clean = stored(law.notch_steady * led, law.notch)
    wanted = stored_real(demand, law.demand_scale, law.demand)
    integral = law.demand_unit * wanted - law.proportional * clean - law.integral_new * clean
    return FixedState(
        law.lead_unit * led - law.lead_b0 * error,
        law.notch_unit * clean - law.notch_b0 * led,
        law.notch_b2 * led - law.notch_a2 * clean,
        bounded(integral, law.integral_most),
        -law.derivative_gain * clean,
    )


@told_terms.of(FixedLaw)
def fixed_terms(law: FixedLaw, terms: FixedTerms) -> Terms:
    """The terms as numbers with units; proportional and integral part rounded to words of the demand."""
    return Terms(
        law.error_step * float(terms.error), law.lead_step * float(terms.lead), law.notch_step * float(terms.notch),
        law.demand_step * float(stored(terms.proportional, law.demand)),
        law.demand_step * float(stored(terms.integral, law.demand)),
        law.rate_step * float(terms.rate), law.demand_step * float(terms.demand),
    )


@inlined
def sum_of_real(before: Word, value: float) -> Word:
    """The check sum after a real number."""
    return crc_step(before, held_bits(value), held_size(value))


@inlined
def sum_of_word(before: Word, value: Wide) -> Word:
    """The check sum after a whole number of 64 bits."""
    return crc_step(before, np.uint64(value), 64)


@inlined
def sum_of_store(before: Word, store: Store) -> Word:
    """The check sum after what a sum is stored with."""
    total = sum_of_word(before, store.half)
    total = crc_step(total, np.uint64(store.shift), 32)
    total = sum_of_word(total, store.least)
    return sum_of_word(total, store.greatest)


@settings_sum.of(FixedLaw)
def fixed_sum(law: FixedLaw) -> Word:
    """Check sum of a law on words: all its fields in order."""
    total = np.uint64(ONES)
    total = sum_of_real(total, law.period_s)
    total = sum_of_real(total, law.output_low)
    total = sum_of_real(total, law.output_high)
    total = sum_of_real(total, law.slew_per_tick)
    total = sum_of_real(total, law.output_quantum)
    total = sum_of_real(total, law.error_scale)
    total = sum_of_real(total, law.error_step)
    total = sum_of_real(total, law.lead_step)
    total = sum_of_real(total, law.notch_step)
    total = sum_of_real(total, law.rate_step)
    total = sum_of_real(total, law.demand_scale)
    total = sum_of_real(total, law.demand_step)
    total = sum_of_word(total, law.lead_b0)
    total = sum_of_word(total, law.lead_b1)
    total = sum_of_word(total, law.lead_a1)
    total = sum_of_word(total, law.lead_steady)
    total = sum_of_word(total, law.lead_unit)
    total = sum_of_word(total, law.notch_b0)
    total = sum_of_word(total, law.notch_b1)
    total = sum_of_word(total, law.notch_b2)
    total = sum_of_word(total, law.notch_a1)
    total = sum_of_word(total, law.notch_a2)
    total = sum_of_word(total, law.notch_steady)
    total = sum_of_word(total, law.notch_unit)
    total = sum_of_word(total, law.derivative_gain)
    total = sum_of_word(total, law.derivative_pole)
    total = sum_of_word(total, law.proportional)
    total = sum_of_word(total, law.integral_new)
    total = sum_of_word(total, law.integral_old)
    total = sum_of_word(total, law.tracking_gain)
    total = sum_of_word(total, law.rate_unit)
    total = sum_of_word(total, law.demand_unit)
    total = sum_of_word(total, law.integral_most)
    total = sum_of_store(total, law.error)
    total = sum_of_store(total, law.lead)
    total = sum_of_store(total, law.notch)
    total = sum_of_store(total, law.rate)
    total = sum_of_store(total, law.demand)
    return total ^ np.uint64(ONES)
