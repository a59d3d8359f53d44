"""Pieces of C text."""
import pytest

from experiments.firmware.emit.kinds import DOUBLE, FLAG, REAL, SINGLE, WHOLE
from experiments.firmware.emit.terms import HELPERS, PRIMITIVES, SUM, Term, as_real, c_type, constant


def test_parentheses_where_a_text_is_loose() -> None:
    """A sum inside a product gets them, a name does not."""
    assert Term("a + b", REAL, SUM).tight() == "(a + b)"
    assert Term("a", REAL).tight() == "a"


@pytest.mark.parametrize(("value", "text"), [
    (3, "3"), (-3, "(-3)"), (0.5, "0.5"), (True, "true"), (2**40, "INT64_C(1099511627776)"),
])
def test_constants(value: float, text: str) -> None:
    """Numbers and conditions as C has them."""
    assert constant(value, DOUBLE).text == text


def test_a_whole_number_becomes_real() -> None:
    """A literal at once, a variable by a cast."""
    assert as_real(constant(3, SINGLE), SINGLE).text == "3.0f"
    assert as_real(Term("n", WHOLE, source="n"), SINGLE).text == "(float)n"


def test_every_kind_has_a_type_and_every_primitive_its_text() -> None:
    """Nothing in the tables is half filled in."""
    assert [c_type(kind, SINGLE) for kind in (REAL, WHOLE, FLAG)] == ["float", "int32_t", "bool"]
    for kinds, build in PRIMITIVES.values():
        assert build(DOUBLE, [Term(f"a{i}", kind) for i, kind in enumerate(kinds)]).text
    for name, text in HELPERS.items():
        assert "{r}" in text or any(word in name for word in ("whole", "long", "shifted"))
