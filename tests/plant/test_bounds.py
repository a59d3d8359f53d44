from typing import Annotated, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.bounds import check_bounds
from plant.declare import quantity, switch
from plant.errors import InputError


class Part(NamedTuple):
    length_m: Annotated[float, quantity("m", 0.5, 2.0, "length", "test")] = 1.0
    bent: Annotated[bool, switch("whether it is bent", "test")] = False


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_passes_exactly_what_the_declaration_allows(value):
    if 0.5 <= value <= 2.0:
        check_bounds(Part(value))
    else:
        with pytest.raises(InputError, match=r"^Part\.length_m = \S+ m is outside 0\.5 … 2 m$"):
            check_bounds(Part(value))


def test_label_stands_in_front():
    with pytest.raises(InputError, match=r"^hose\.length_m = 3 m"):
        check_bounds(Part(3.0, True), "hose")


def test_the_bounds_themselves_are_allowed():
    for value in (0.5, 2.0):
        check_bounds(Part(value))
