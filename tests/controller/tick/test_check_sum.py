"""Check sum of a law: that of a library, and any change is seen."""
import struct
import zlib

from hypothesis import given
from hypothesis import strategies as st

from controller.fixed.formats import plan
from controller.fixed.law import FixedLaw
from controller.tick.check_sum import settings_sum
from controller.tick.law import design
from experiments.rigs.rig import load_rig
from tests.controller.fixed.helper import LAW, RANGES

COEFFICIENTS = design(load_rig("wrist").controller, 0.001)
WORDS, _ = plan(LAW, 16, RANGES)


def test_it_is_the_sum_of_the_standard():
    """CRC-32 as zlib has it, over the numbers in little-endian order."""
    assert settings_sum(COEFFICIENTS) == zlib.crc32(struct.pack(f"<{len(COEFFICIENTS)}d", *COEFFICIENTS))
    reals = [value for value in WORDS if isinstance(value, float)]
    wholes = [value for value in WORDS if isinstance(value, int)]
    stores = [value for value in WORDS if isinstance(value, tuple)]
    text = struct.pack(f"<{len(reals)}d{len(wholes)}q", *reals, *wholes)
    text += b"".join(struct.pack("<qIqq", *store) for store in stores)
    assert settings_sum(WORDS) == zlib.crc32(text)


@given(st.integers(0, len(COEFFICIENTS) - 1), st.integers(0, 63))
def test_any_bit_of_any_coefficient_changes_it(which, bit):
    word = struct.unpack("<Q", struct.pack("<d", COEFFICIENTS[which]))[0] ^ (1 << bit)
    value = struct.unpack("<d", struct.pack("<Q", word))[0]
    other = COEFFICIENTS._replace(**{COEFFICIENTS._fields[which]: value})
    assert settings_sum(other) != settings_sum(COEFFICIENTS)


@given(st.sampled_from(FixedLaw._fields))
def test_any_field_of_a_law_on_words_changes_it(name):
    value = getattr(WORDS, name)
    changed = value._replace(least=value.least + 1) if isinstance(value, tuple) else value + 1
    assert settings_sum(WORDS._replace(**{name: changed})) != settings_sum(WORDS)


def test_two_coefficients_swapped_change_it():
    swapped = COEFFICIENTS._replace(integral_new=COEFFICIENTS.proportional, proportional=COEFFICIENTS.integral_new)
    assert settings_sum(swapped) != settings_sum(COEFFICIENTS)
