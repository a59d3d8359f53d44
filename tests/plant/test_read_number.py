"""One way to write a number: what Python's own reader takes beyond it is refused."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.read_number import GROUPED, LARGEST_WHOLE, read_number, read_whole


@given(st.floats())
def test_every_float_as_python_prints_it(value):
    assert read_number(repr(value)) == value or math.isnan(value)
    assert not GROUPED.fullmatch(repr(value))


@given(st.integers(-LARGEST_WHOLE, LARGEST_WHOLE))
def test_every_whole_number_of_64_bits(value):
    assert read_whole(f" {value} ") == value


@pytest.mark.parametrize(("text", "value"), [
    ("1", 1.0), ("+1.", 1.0), (".5", 0.5), ("-1E-3", -1e-3), (" 2\n", 2.0), ("1e999", math.inf), ("-Inf", -math.inf)])
def test_usual_ways(text, value):
    assert read_number(text) == value


@pytest.mark.parametrize("text", [
    "", "1_000", "1_0.5", "1e1_0", "_1", "１２", "٣", "1,5", "1 000", "0x10", "1e", "e5", ".", "1.2.3", "--1",
    "9" * 401, "one", "1\x00", "½"])
def test_no_numbers(text):
    for read in (read_number, read_whole):
        with pytest.raises(ValueError, match="is not a "):
            read(text)


@pytest.mark.parametrize("text", ["1.0", "1e3", "nan", str(2**63), str(-2**63), "9" * 400])
def test_no_whole_numbers(text):
    with pytest.raises(ValueError, match="is not a whole number of at most 19 digits"):
        read_whole(text)


@pytest.mark.parametrize("text", ["1_000", "-1_0.5", "1_0e3", "1.0_1", "0_5.5e1_0"])
def test_grouped_digits(text):
    assert GROUPED.fullmatch(text)


@pytest.mark.parametrize("text", ["1000", "half_open", "e1_0", "flow_inverse", "a.py:My_1", "1.5", "1_a"])
def test_no_grouped_digits(text):
    assert not GROUPED.fullmatch(text)
