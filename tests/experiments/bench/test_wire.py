"""Figures keep all their digits on the way, curves those of 32 bits."""
import json
import struct

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from experiments.bench.wire import Answer, packed, unpacked


@given(st.text(max_size=30), st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 40))
def test_there_and_back(text, figure, samples):
    curve = np.linspace(-1.0, 1.0, samples)
    found = unpacked(packed(Answer({"words": text, "figure": figure}, {"a": curve, "b": curve[:1]})))
    assert found.head["figure"] == figure
    assert found.head["words"] == text.encode("utf-8", "backslashreplace").decode()
    assert np.array_equal(found.arrays["a"], curve.astype("f4")) and len(found.arrays["b"]) == min(samples, 1)


def test_the_head_is_plain_json_and_curves_begin_on_a_multiple_of_four():
    message = packed(Answer({"x": float("inf"), "y": float("nan")}, {"a": np.array([np.nan, 1.0])}))
    (length,) = struct.unpack_from("<I", message)
    assert length % 4 == 0 and json.loads(message[4 : 4 + length]) == {"x": "inf", "y": "nan", "arrays": [["a", 2]]}
    assert len(message) == 4 + length + 8
