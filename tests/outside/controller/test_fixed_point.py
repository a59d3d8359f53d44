"""Fixed point against what others have published: dead bands, norms, a textbook's example, a library's sequences."""
import math

import pytest

from controller.fixed.effects import cycle_bound, dead_band, largest_cycle
from controller.fixed.formats import Part, word_of
from controller.fixed.words import store, stored

# first-order dead band ⌊½/(1 − |a|)⌋ (Jackson 1969, and any textbook); a rounded to 15 bits after the point
JACKSON = [(0.5, 1), (0.75, 2), (0.8, 2), (0.9, 4), (0.95, 10), (0.99, 49), (0.8537, 3), (-0.5094, 1)]


@pytest.mark.parametrize(("pole", "steps"), JACKSON)
def test_dead_bands_are_jacksons(pole, steps):
    held = math.floor(pole * 32768.0 + 0.5) / 32768.0
    assert dead_band(held) == steps

    def last(start, own):  # where y ← a y, rounded, ends: the word of the pole and the store of the law
        word, value = round(held * 32768.0), start
        for _ in range(3000):
            value = stored(word * value, own)
        return abs(value)

    assert max(last(start, store(16, 15)) for start in range(-steps - 3, steps + 4)) == steps


# second order, poles r e^{±iθ}: ½ Σ|h| of any book on digital filters; ½/(1 − |a₂|) is no bound
@pytest.mark.parametrize(("radius", "angle", "half_norm", "formula"), [
    (0.98, 0.1, 159.8, 12), (0.9, 0.3, 11.1, 2), (0.95, 1.0, 7.7, 5), (0.97, 2.0, 11.8, 8)])
def test_second_order_cycles_stay_within_the_norm_and_not_within_the_formula(radius, angle, half_norm, formula):
    a1, a2 = -2.0 * radius * math.cos(angle), radius**2
    assert cycle_bound(a1, a2) == pytest.approx(half_norm, abs=0.1)
    assert math.floor(0.5 / (1.0 - a2)) == formula
    found = largest_cycle(a1, a2, 14, 24)
    assert 0 < found <= half_norm
    if angle < 0.5:
        assert found > formula


# Oppenheim & Schafer, limit cycles of a first-order filter with words of four bits, a = ±½ and 7/8 at the start (from
# memory). The book rounds halves away from zero; adding half a step and shifting ends at zero for a = −½.
def test_the_textbooks_words_of_four_bits():
    def run(word):
        values = [7]
        for _ in range(7):
            values.append(stored(word * values[-1], store(4, 1)))
        return values

    assert run(1) == [7, 4, 2, 1, 1, 1, 1, 1]
    assert run(-1) == [7, -3, 2, -1, 1, 0, 0, 0]


def direct_form(b0, a1, value, count, own, wrap=None):
    """y ← b0 x + a1 y₁, summed in 64 bits and stored; `wrap` leaves out the limits, as some firmware does."""
    out = [0]
    for _ in range(count):
        word = stored(b0 * value + a1 * out[-1], own)
        out.append(word if wrap is None else (word + wrap) % (2 * wrap) - wrap)
    return out[1:]


def test_a_signal_library_that_wraps_has_our_sums_and_ours_saturates():
    """CMSIS-DSP 1.10.3, arm_biquad_cascade_df1_q31, postShift 0: its output as recorded from the library."""
    recorded = [2147483646, -1073741827, 1610612732, -1342177284, 1476395004, -1409286148, 1442840572, -1426063364]
    top = 2**31 - 1
    assert direct_form(top, 2**30, top, 8, store(62, 31, "down"), 2**31) == recorded
    assert direct_form(top, 2**30, top, 8, store(32, 31, "down")) == [recorded[0]] + [top] * 7


def test_a_signal_library_that_saturates_has_our_words():
    """arm_biquad_cascade_df1_q15 of the same: sums of 64 bits, then 16 bits with limits."""
    assert direct_form(32767, 16384, 32767, 8, store(16, 15, "down")) == [32766] + [32767] * 7


def test_short_words_of_a_low_corner_are_the_librarys():
    """A Butterworth low-pass of 5 Hz at 1 kHz in Q15 with postShift 1: 4, 8, 4, 32040, −15672."""
    from scipy.signal import butter

    b, a = butter(2, 5.0, fs=1000.0)
    words = [word_of(Part(float(value), 0), 16, 14) for value in (*b, -a[1], -a[2])]
    assert words == [4, 8, 4, 32040, -15672]
