"""Packed results: the same to the bit when read, and nothing that a file holds can run, import or take much memory."""
import functools
import json
import os
import pickle
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from experiments.design.budget.cost import LoopCost
from experiments.design.sweep.piece import Answer
from experiments.subjects.finger import Finger
from experiments.work import packed as module
from experiments.work.chunks import fingerprint
from experiments.work.packed import DamagedError, pack, storable, unpack

PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
    | arrays.arrays(arrays.scalar_dtypes().filter(lambda kind: module.PLAIN_DTYPE.fullmatch(kind.str)),
                    arrays.array_shapes(min_dims=0, min_side=0, max_side=3)),
    lambda inner: st.lists(inner, max_size=3) | st.tuples(inner, inner)
    | st.dictionaries(st.text(max_size=3) | st.integers(), inner, max_size=3),
    max_leaves=8)


@storable
class Point(NamedTuple):
    x: float
    y: float


class Undeclared(NamedTuple):
    x: float


def packed_as(structure, behind=b""):
    """Bytes with a right length and any structure."""
    text = structure if isinstance(structure, bytes) else json.dumps(structure).encode()
    return len(text).to_bytes(8, "little") + text + behind


@given(st.lists(PLAIN, max_size=4))
def test_results_come_back_to_the_bit(results):
    back = unpack(pack(results))
    assert repr(back) == repr(results) and fingerprint(back) == fingerprint(results)


def test_arrays_scalars_and_declared_classes_come_back():
    array = np.random.Generator(np.random.PCG64(1)).normal(size=(3, 4))
    results = [array, array[:, ::2].astype(">f4"), np.float32(0.1), np.bool_(True), Point(1.0, -0.0),
               (Point(2.0, 3.0),)]
    back = unpack(pack(results))
    assert [type(value) for value in back] == [type(value) for value in results]
    assert fingerprint(back) == fingerprint(results) and back[0].flags.writeable and back[0].flags.owndata
    back[0][0, 0] = 7.0  # nothing is shared with the bytes


def test_the_classes_of_every_study_are_declared():
    """What `run` is given to keep: the sweep's, the budget's, the searches' and the schedules'."""
    from experiments.calibration.schedule.piece import Row as ScheduleRow
    from experiments.calibration.search.piece import Row as SearchRow

    answer = Answer(np.zeros((2, 3)), ["", "why"])
    run = ScheduleRow(np.zeros(4), np.zeros((3, 5), np.float32), "in time", {"no pulse": 1}, ((1.0, "cold"),),
                      ((0.0, "search", float("nan"), "start"),))
    search = SearchRow(*["a"] * 4, *[0.5] * len(SearchRow._fields[4:]))
    for one in (answer, LoopCost(1.0, 2.0, 3.0, 4.0, 5.0), run, search):
        assert repr(unpack(pack([one]))[0]) == repr(one)


class Trap:
    """Unpickled by an ordinary reader, it would run a command."""

    def __reduce__(self):
        return os.system, ("true",)


@pytest.mark.parametrize("value", [
    Trap(), functools.partial(eval, "1"), Undeclared(1.0), Finger("a"), {1, 2}, b"bytes", object(), os.system,
    np.array([None]), np.array(["a"]), np.array([(1, 2.0)], dtype="i4,f8"), np.datetime64("2020-01-01"), 1j,
])
def test_what_is_no_plain_data_is_not_packed(value):
    with pytest.raises(TypeError, match="cannot be stored"):
        pack([value])


@pytest.mark.parametrize("content", [
    pickle.dumps([Trap()]),
    packed_as(["list", ["class", "os:system", "true"]]),
    packed_as(["list", ["class", "numpy.lib._npyio_impl:os.system", "true"]]),
    packed_as(["list", ["class", "builtins:eval", "1"]]),
    packed_as(["list", ["class", "subprocess:Popen", ["list", "true"]]]),
    packed_as(["list", ["class", f"{Finger.__module__}:Finger", "a"]]),
    packed_as(["list", ["class", f"{__name__}:Undeclared", 1.0]]),
    packed_as(["list", ["class", f"{__name__}:Point", 1.0]]),
    packed_as(["list", ["class", f"{__name__}:Point._make", ["list", 1.0, 2.0]]]),
    packed_as(["list", ["class", ["list"], 1.0]]),
    packed_as(["list", ["class"]]),
    packed_as(["list", ["array", "|O8", [1]]], b"\0" * 8),
    packed_as(["list", ["array", "<f8", [10**12]]]),
    packed_as(["list", ["array", "<f8", [10**40, 0]]]),
    packed_as(["list", ["array", "<f8", [2]]], b"\0" * 15),
    packed_as(["list", ["array", "<f8", [2]]], b"\0" * 17),
    packed_as(["list", ["array", "<f8", [-1]]]),
    packed_as(["list", ["array", "<f8", [True]]], b"\0" * 8),
    packed_as(["list", ["array", "<f8", 2]], b"\0" * 16),
    packed_as(["list", ["array", "f8", [1]]], b"\0" * 8),
    packed_as(["list", ["array"]]),
    packed_as(["list", ["scalar", "<f8", [1]]], b"\0" * 8),
    packed_as(["list", ["dict", ["list"], 1]]),
    packed_as(["list", ["dict", 1]]),
    packed_as(["list", {"py/object": "os.system"}]),
    packed_as(["list", ["set", 1]]),
    packed_as(["list", []]),
    packed_as(["list", [1]]),
    packed_as(["tuple", 1]),
    packed_as(3),
    packed_as(b"[" * 100_000),
    packed_as(b'["list",' * 900 + b"1" + b"]" * 900),
    packed_as(b'["list",' + b"9" * 5000 + b"]"),
    packed_as(b"\xff\xfe"),
    packed_as(b""),
    b"", b"\0", b"\xff" * 8, b"\xff" * 30,
])
def test_a_crafted_file_is_damaged_and_nothing_else(content, monkeypatch):
    """Whatever it names is neither run nor imported: os.system, eval and the import machine are watched."""
    ran = []
    for place, name in ((os, "system"), (os, "popen"), (pickle, "loads")):
        monkeypatch.setattr(place, name, lambda *_: ran.append(1))
    with pytest.raises(DamagedError):
        unpack(content)
    assert not ran


@given(st.binary(max_size=60))
def test_any_bytes(content):
    """They are damaged, or what `pack` would make of something."""
    for bytes_ in (content, packed_as(content)):
        try:
            unpack(bytes_)
        except DamagedError:
            continue
        assert pack(unpack(bytes_))


@settings(max_examples=200)
@given(st.lists(PLAIN, min_size=1, max_size=4), st.data())
def test_a_slip_of_a_byte(results, data):
    whole = bytearray(pack(results))
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at] ^= data.draw(st.integers(1, 255))
    try:
        unpack(bytes(whole))
    except DamagedError:
        return
