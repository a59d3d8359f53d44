"""Tables against declarations: each wrong value is one line with key, value, range and meaning."""
from typing import Annotated, Literal, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.declare import declared, quantity, switch
from plant.electronics.transducer import Transducer
from plant.errors import InputError
from plant.validate import validated


class Lamp(NamedTuple):
    """A part with every sort of parameter."""

    power_W: Annotated[float, quantity("W", 0.5, 20, "electrical power", "invented")] = 3.0
    bits: Annotated[int, quantity("1", 0, 24, "converter bits", "invented")] = 8
    lit: Annotated[bool, switch("whether it is on", "invented")] = True
    colour: Annotated[Literal["red", "infrared"], switch("which one", "invented")] = "red"


class Bare(NamedTuple):
    """A part with a parameter that has no default."""

    size_mm: Annotated[float, quantity("mm", 1, 2, "its size", "invented")]


def line(values, part=Lamp):
    with pytest.raises(InputError) as refusal:
        validated(part, values, "lamp.toml", "lamp")
    assert str(refusal.value).isprintable()
    return str(refusal.value)


def test_defaults_and_values():
    assert validated(Lamp, {}, "lamp.toml", "lamp") == Lamp()
    made = validated(Lamp, {"power_W": 4, "bits": 0, "lit": False, "colour": "infrared"}, "lamp.toml", "lamp")
    assert made == Lamp(4.0, 0, False, "infrared") and isinstance(made.power_W, float)


@given(st.floats(0.5, 20), st.integers(0, 24))
def test_everything_within_bounds_passes(power, bits):
    assert validated(Lamp, {"power_W": power, "bits": bits}, "lamp.toml", "lamp") == Lamp(power, bits)


@given(st.floats().filter(lambda v: not 0.5 <= v <= 20))
def test_nothing_outside_does(power):
    assert line({"power_W": power}) == (
        f"lamp.toml: lamp.power_W = {power!r} must be a number from 0.5 to 20 W (electrical power)"
    )


@given(st.one_of(
    st.text(), st.booleans(), st.none(), st.lists(st.floats(), max_size=3), st.dates(),
    st.dictionaries(st.text(), st.integers(), max_size=2), st.just(10**5000), st.just(-(10**400)),
))
def test_other_things_than_numbers(value):
    assert line({"power_W": value}).startswith("lamp.toml: lamp.power_W = ")
    assert line({"power_W": value}).endswith(" must be a number from 0.5 to 20 W (electrical power)")


def test_what_each_sort_says():
    assert line({"bits": 8.0}) == "lamp.toml: lamp.bits = 8.0 must be a whole number from 0 to 24 (converter bits)"
    assert line({"lit": 1}) == "lamp.toml: lamp.lit = 1 must be true or false (whether it is on)"
    assert line({"colour": "blue"}) == "lamp.toml: lamp.colour = 'blue': use one of red, infrared (which one)"
    assert line({"pow\ner": 1}) == (
        r"lamp.toml: lamp.pow\ner is not a key of this part; use one of power_W, bits, lit, colour"
    )
    assert line({}, Bare) == "lamp.toml: lamp.size_mm is missing and has no default"
    assert len(line({"power_W": "x" * 10_000})) < 200


def test_a_real_part():
    """Declared bounds of a part of the plant are what a file is held against, both ends included."""
    for parameter in declared(Transducer):
        if parameter.low is not None:
            for value in (parameter.low, parameter.high):
                given_value = parameter.kind(value)
                made = validated(Transducer, {parameter.name: given_value}, "rig.toml", "transducer")
                assert getattr(made, parameter.name) == given_value
            text = line({parameter.name: parameter.kind(parameter.high + 1)}, Transducer)
            assert f"from {parameter.low:g} to {parameter.high:g}" in text and parameter.meaning in text
