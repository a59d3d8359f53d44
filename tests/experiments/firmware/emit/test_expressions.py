"""Expressions: the same values in C, and refusals with file and line."""
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.firmware.emit.kinds import SINGLE, Refusal
from tests.experiments.firmware.helper import built, called, emitted, module_from, needs_gcc

MIXED = """
GAIN = 0.3

@compiled
def mixed(a: float, b: float, c: float) -> float:
    big = max(a, b, c)
    small = min(a, b, c)
    inside = (small <= b) & opposite(b > big) | (c != c)
    whole = int(rounded_down(choose(abs(b) < 1e6, b, 0.0)))
    shift = 2.0**3 * whole - -whole
    root = math.sqrt(abs(a)) + math.copysign(GAIN, c)
    return choose(inside, big - small * GAIN, -a) + shift / 7 + root * (a - (b - c)) + math.pi
"""


@needs_gcc
def test_values_are_those_of_the_compiled_function(tmp_path: Path) -> None:
    """Bit for bit, whatever goes in."""
    import ctypes

    module = module_from(MIXED, tmp_path)
    unit, root = emitted(module.mixed, 0.0, 0.0, 0.0)
    function = getattr(built(unit, root, tmp_path), root.name)
    function.restype, function.argtypes = ctypes.c_double, [ctypes.c_double] * 3

    numbers = st.floats(-1e9, 1e9) | st.sampled_from([0.0, -0.0, math.nan, math.inf])

    @given(numbers, numbers, numbers)
    @settings(max_examples=300, deadline=None)
    def same(a: float, b: float, c: float) -> None:
        mine, theirs = module.mixed(a, b, c), function(a, b, c)
        assert mine == theirs or (math.isnan(mine) and math.isnan(theirs))

    same()


@needs_gcc
def test_nan_goes_through_min_and_max_as_in_the_kernel(tmp_path: Path) -> None:
    """The first stays unless the second is truly beyond it."""
    module = module_from("@compiled\ndef least(a: float, b: float) -> float:\n    return min(a, b)\n", tmp_path)
    unit, root = emitted(module.least, 0.0, 0.0)
    assert math.isnan(called(unit, root, tmp_path, math.nan, 1.0))
    assert called(unit, root, tmp_path, 1.0, math.nan) == 1.0


REFUSED = {
    "math.exp(a)": "exact everywhere", "[a]": "List", "a if a else 1.0": "condition", "a < 1.0 < 2.0": "single",
    "a // 2.0": "operation", "a ** 0.5": "powers", "unknown(a)": "calls", "a & a": "conditions", "'text'": "numbers",
    "abs(3)": "conversion",
}


@pytest.mark.parametrize(("text", "why"), REFUSED.items())
def test_what_is_outside_is_refused_with_its_line(text: str, why: str, tmp_path: Path) -> None:
    """File, line and the piece of source."""
    module = module_from(f"@compiled\ndef wrong(a: float) -> float:\n    b = a\n    return {text}\n", tmp_path)
    with pytest.raises(Refusal, match=rf"written\.py:9: .*{why}"):
        emitted(module.wrong, 0.0)


def test_single_precision_has_no_double_inside(tmp_path: Path) -> None:
    """Every literal and every function of the library carries its suffix."""
    _, root = emitted(module_from(MIXED, tmp_path).mixed, 0.0, 0.0, 0.0, numbers=SINGLE)
    text = "\n".join(root.lines)
    assert "sqrtf(" in text
    assert "floorf(" in text
    assert "7.0f" in text
    assert "double" not in text


WIDE = """
from typing import NamedTuple
from controller.fixed.words import Wide

class Held(NamedTuple):
    total: Wide
    shift: int

@compiled
def doubled(value: Wide) -> Wide:
    return 2 * value + int(0.0)

@compiled
def moved(held: Held, factor: float) -> Held:
    down = (held.total - 3) >> held.shift
    kept = min(max(doubled(down) + held.shift, -1000000000000), 2000000000000)
    return Held(choose(factor > 0.0, -kept, int(rounded_down(factor))), held.shift)
"""


@needs_gcc
def test_wide_numbers_shift_and_saturate_as_in_the_kernel(tmp_path: Path) -> None:
    """Negative ones go down, too; constants of 64 bits keep them."""
    import ctypes

    class Held(ctypes.Structure):
        _fields_ = [("total", ctypes.c_int64), ("shift", ctypes.c_int32)]

    module = module_from(WIDE, tmp_path)
    unit, root = emitted(module.moved, module.Held(0, 0), 0.0)
    function = getattr(built(unit, root, tmp_path), root.name)
    function.restype, function.argtypes = Held, [ctypes.POINTER(Held), ctypes.c_double]
    for total in (0, 1, -1, 2, 3, 4, -(2**61), 2**61, -(2**40) - 7, 2**40 + 11):
        for shift in (0, 1, 7, 40):
            for factor in (1.0, -2.5):
                found = function(ctypes.byref(Held(total, shift)), factor)
                wanted = min(max(2 * ((total - 3) >> shift) + shift, -(10**12)), 2 * 10**12)
                assert (found.total, found.shift) == (-wanted if factor > 0.0 else -3, shift)
                assert module.moved(module.Held(total, shift), factor) == (found.total, shift)


def test_a_wide_number_beside_a_real_one_is_refused(tmp_path: Path) -> None:
    """Only float(…) makes a real number of it, for some bits may be lost."""
    text = WIDE + """
@compiled
def mixed(held: Held, factor: float) -> float:
    return held.total * factor
"""
    module = module_from(text, tmp_path)
    with pytest.raises(Refusal, match="different kinds"):
        emitted(module.mixed, module.Held(0, 0), 0.0)
