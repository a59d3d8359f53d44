"""Messages stay on one line whatever is in them."""
from hypothesis import given
from hypothesis import strategies as st

from plant.messages import one_line, value_text

ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.dates(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4), max_leaves=10,
)


@given(st.text(st.characters()), st.integers(2, 80))
def test_any_text_fits_on_one_line(text, most):
    assert one_line(text, most).isprintable()
    assert len(one_line(text, most)) <= most


@given(st.text(st.characters(categories=("L", "N")), max_size=60))
def test_plain_text_stays_as_it_is(text):
    assert one_line(text) == text


def test_what_breaks_lines_is_shown():
    assert one_line("a\nb\x1b[31m\udcff") == r"a\nb\x1b[31m\udcff"
    assert one_line("x" * 50, 10) == "x" * 9 + "…"


@given(ANYTHING)
def test_any_value_can_be_shown(value):
    assert value_text(value).isprintable() and len(value_text(value)) <= 60


def test_values_look_as_in_the_file():
    assert value_text(0.3) == "0.3" and value_text("fast") == "'fast'" and value_text([1, "a"]) == "[1, 'a']"
    assert value_text(1 << 20000) == "a number of thousands of digits"  # which Python itself refuses to print
    nested: list = []
    for _ in range(100_000):
        nested = [nested]
    assert value_text(nested) in ("a value nested too deeply", "[" * 59 + "…")
