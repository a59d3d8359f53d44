"""What tests of the fixed-point law share: laws drawn at random, and the law in exact fractions."""
from __future__ import annotations

import math
from fractions import Fraction

from hypothesis import strategies as st

from controller.fixed.formats import effective
from controller.fixed.law import initial_fixed
from controller.fixed.ranges import ranges_of
from controller.tick.law import Controller, control_demand, control_settle, design

FULL = Controller(kp=0.03, ti_s=0.02, td_s=0.004, filter_ratio=4.0, lead_zero_Hz=40.0, lead_pole_Hz=150.0,
                  notch_Hz=90.0, notch_width_Hz=40.0, notch_depth_dB=20.0, slew_per_s=0.0, tracking_time_s=0.01)
LAW = design(FULL, 1e-3)
RANGES = ranges_of(LAW, 64.0, 2.0, 2.0)


@st.composite
def laws(draw):
    """An ordinary law with all of its blocks, each in its usual range."""
    zero = draw(st.floats(5.0, 60.0))
    return design(FULL._replace(
        kp=draw(st.floats(1e-3, 0.2)), ti_s=draw(st.floats(5e-3, 1.0)), td_s=draw(st.floats(1e-3, 0.01)),
        lead_zero_Hz=zero, lead_pole_Hz=zero * draw(st.floats(1.2, 5.0)), notch_Hz=draw(st.floats(40.0, 300.0)),
        notch_depth_dB=draw(st.floats(3.0, 40.0))), 1e-3)


class Exact:
    """The law with the coefficients that the words stand for, in fractions; rounded where a word is stored."""

    def __init__(self, law, formats):
        self.c = [Fraction(value) for value in effective(law, formats)]
        self.c = type(effective(law, formats))(*self.c)
        self.f, self.law = formats, law
        self.lead = self.one = self.two = self.integral = self.rate = Fraction(0)

    def word(self, value, bits):
        """A number as its word: halves upwards, held to the word's range."""
        steps = value * 2**bits + (Fraction(1, 2) if self.f.rounding == "nearest" else 0)
        held = min(max(math.floor(steps), -2 ** (self.f.words - 1)), 2 ** (self.f.words - 1) - 1)
        return Fraction(held, 1) / 2**bits

    def tick(self, error_mmHg, lost=Fraction(0)):
        """Words of one tick in their units; `lost` is what a limit takes away from the demand."""
        c, f = self.c, self.f
        steps = math.floor(Fraction(error_mmHg) * 2**f.error + Fraction(1, 2))
        error = Fraction(min(max(steps, -2 ** (f.words - 1)), 2 ** (f.words - 1) - 1), 2**f.error)
        led = self.word(c.lead_b0 * error + self.lead, f.lead)
        clean = self.word(c.notch_b0 * led + self.one, f.notch)
        rate = self.word(c.derivative_gain * clean + self.rate, f.rate)
        integral = c.integral_new * clean + self.integral
        demand = self.word(c.proportional * clean + integral + rate, f.demand)
        steps = math.floor((demand - lost) * 2**f.demand + Fraction(1, 2))
        achieved = Fraction(min(max(steps, -2 ** (f.words - 1)), 2 ** (f.words - 1) - 1), 2**f.demand)
        self.lead = c.lead_b1 * error - c.lead_a1 * led
        self.one, self.two = (c.notch_b1 * led - c.notch_a1 * clean + self.two, c.notch_b2 * led - c.notch_a2 * clean)
        most = Fraction(self.law.integral_most, 2**f.demand_sum)
        self.integral = integral + c.integral_old * clean + c.tracking_gain * (achieved - demand)
        self.integral = min(max(self.integral, -most), most)
        self.rate = c.derivative_pole * rate - c.derivative_gain * clean
        return error, led, clean, rate, demand


def run(law, errors, lost=None):
    """Terms and demand of the fixed law on each tick from rest."""
    state, rows = initial_fixed(), []
    for tick, error in enumerate(errors):
        demand, terms = control_demand(law, state, float(error))
        rows.append((demand, terms))
        state = control_settle(law, state, terms, demand - (float(lost[tick]) if lost is not None else 0.0))
    return rows
