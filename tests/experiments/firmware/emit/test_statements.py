"""Statements: swaps, branches, loops and several values returned."""
import re
from pathlib import Path

import pytest

from experiments.firmware.emit.kinds import Refusal
from experiments.firmware.emit.text import source
from tests.experiments.firmware.helper import called, emitted, module_from, needs_gcc

BODY = """
class Three(NamedTuple):
    first: float
    second: float
    third: float

@compiled
def both(a: float, b: float) -> tuple[float, float]:
    return b, a + b

@compiled
def all_of(a: float, b: float) -> float:
    a, b = b, a
    total, place = 0.0, 1.0
    for value in Three(a, b, 3.0):
        total += place * value
        place += 1.0
    for i in range(3):
        if total > 10.0:
            total = total - i
            c = 1.0
        else:
            c = 2.0
        total = total + c
    third, _ = both(total, a)
    kept = selected(third > 0.0, Three(a, b, third), Three(0.0, 0.0, 1.0))
    return kept.first + 10.0 * kept.second + 100.0 * kept.third + total
"""


@needs_gcc
@pytest.mark.parametrize("pair", [(1.0, 2.0), (-7.0, 3.5), (100.0, -1.0)])
def test_a_body_does_what_it_does_in_the_kernel(pair: tuple[float, float], tmp_path: Path) -> None:
    """Tangled assignments, loops over fields and counts, branches, whole structs chosen."""
    module = module_from(BODY, tmp_path)
    unit, root = emitted(module.all_of, 0.0, 0.0)
    assert called(unit, root, tmp_path, *pair) == module.all_of(*pair)


REFUSED = {
    "    while a > 0.0:\n        a = a - 1.0\n    return a\n": "While",
    "    return wrong(a)\n": "recursion",
    "    a = a\n    del a\n    return 1.0\n": "Delete",
    "    for i in (1, 2):\n        a = a + i\n    return a\n": "Tuple",
    "    b = a > 0.0\n    b = a\n    return b\n": "kind",
}


@pytest.mark.parametrize(("body", "why"), REFUSED.items())
def test_what_is_outside_is_refused(body: str, why: str, tmp_path: Path) -> None:
    """Unbounded loops, recursion and the like, with file and line."""
    module = module_from(f"@compiled\ndef wrong(a: float) -> float:\n{body}", tmp_path)
    with pytest.raises(Refusal, match=rf"written\.py:\d+: .*{why}"):
        emitted(module.wrong, 0.0)


def test_the_text_uses_neither_heap_nor_pointers_to_change(tmp_path: Path) -> None:
    """Every pointer is to what stays constant."""
    unit, root = emitted(module_from(BODY, tmp_path).all_of, 0.0, 0.0)
    text = source(unit, [root], "unit", "A test.")
    assert "malloc" not in text
    assert not re.findall(r"^ *(?!const )\w+ \*\w+", text, re.M)


CHANGED = """
class Pair(NamedTuple):
    first: float
    row: tuple[float, ...]

@compiled
def moved(pair: Pair, by: float) -> Pair:
    for i in range(3):
        pair = Pair(pair.first + by, pair.row)
    if pair.first > 100.0:
        by = 1000.0
    return Pair(pair.first + by, pair.row)

@compiled
def reached(a: float, b: float) -> float:
    start = Pair(a, (b, 2.0 * b))
    return 0.0 * start.row[0]

@compiled
def last(pair: Pair, by: float) -> float:
    pair = moved(pair, by)
    return pair.first + 10.0 * pair.row[0] + 100.0 * pair.row[-1]
"""


@needs_gcc
def test_a_parameter_may_change_and_a_row_has_places(tmp_path: Path) -> None:
    """In a loop and in a branch; the caller's own stays as it is."""
    import ctypes

    from tests.experiments.firmware.helper import built

    written = module_from(CHANGED, tmp_path)
    pair = written.Pair(1.0, (2.0, 3.0))
    unit, root = emitted(written.last, pair, 0.0)
    function = built(unit, root, tmp_path).last
    function.restype, function.argtypes = ctypes.c_double, [ctypes.POINTER(ctypes.c_double), ctypes.c_double]
    for by in (0.5, 50.0):
        memory = (ctypes.c_double * 3)(1.0, 2.0, 3.0)
        assert function(memory, by) == written.last(pair, by)
        assert list(memory) == [1.0, 2.0, 3.0]
    with pytest.raises(Refusal, match="Tuple cannot be emitted"):
        emitted(written.reached, 0.0, 0.0)
