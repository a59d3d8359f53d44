"""An answer on its way to the page: a head in JSON, curves behind it as 32-bit floats.

Layout: 4 bytes, little-endian, the head's length; the head, filled up with spaces to a multiple of 4; then each curve
of `head["arrays"]` (name, samples) one after the other. Figures travel in the head with all their digits; what is
only drawn travels as curves.
"""
from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.work.output import plain

Curve = NDArray[Any]


@dataclass
class Answer:
    """Figures and words for the page (`head`), and curves to draw."""

    head: dict[str, Any]
    arrays: dict[str, Curve] = field(default_factory=dict)


def packed(answer: Answer) -> bytes:
    """An answer as one message. Numbers that are not finite are the words nan, inf and -inf in the head."""
    curves = {name: np.ascontiguousarray(values, dtype="<f4") for name, values in answer.arrays.items()}
    head = answer.head | {"arrays": [[name, int(curve.size)] for name, curve in curves.items()]}
    text = json.dumps(plain(head), ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    return b"".join([struct.pack("<I", len(text)), text, *(curve.tobytes() for curve in curves.values())])


def unpacked(message: bytes) -> Answer:
    """The same backwards, for tests and for Python that talks to a bench."""
    (length,) = struct.unpack_from("<I", message)
    head = json.loads(message[4 : 4 + length])
    at, arrays = 4 + length, {}
    for name, samples in head.pop("arrays"):
        arrays[name] = np.frombuffer(message, "<f4", samples, at)
        at += 4 * samples
    return Answer(head, arrays)
