"""Chunks on disk: whole or not there, read back bit for bit, and never taken for another study's."""
import functools
import hashlib
import os
import pickle
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.subjects.finger import Finger
from experiments.work.chunks import Chunks, code_version, fingerprint, write_whole
from experiments.work.packed import pack
from experiments.work.run import local, run
from plant.errors import InputError

STUDY = {"about": {"rig": "wrist", "axes": "controller.kp=1:2:3"}, "code": "a", "content": "b"}
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.binary(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.tuples(inner, inner) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=8)


class Point(NamedTuple):
    x: float
    y: float


@settings(max_examples=40)
@given(VALUES)
def test_a_fingerprint_is_of_the_content(value):
    """Rebuilt from bytes, no object is the same any more, and the fingerprint is."""
    assert fingerprint(pickle.loads(pickle.dumps(value))) == fingerprint(value)


def test_fingerprints_tell_apart():
    """Neighbouring floats, types, shapes, nesting, order, names of functions and their arguments."""
    values = [
        1, 1.0, "1", True, b"1", 1.0 + 2**-52, 0.0, -0.0, float("nan"), None, "None", [1, 2], (1, 2), [[1], 2],
        [1, [2]], {"a": 1}, {"a": 1, "b": 2}, Point(1.0, 2.0), (1.0, 2.0), Path("1"), np.zeros(4), np.zeros((2, 2)),
        np.zeros(4, np.float32), np.array([0.0, 0, 0, -0.0]), Finger("a"), Finger("b"), fingerprint, pack, Finger,
        functools.partial(pack, 1), functools.partial(pack, 2), functools.partial(pack, results=1), ["12"], ["1", "2"],
    ]
    assert len({fingerprint(value) for value in values}) == len(values)


def test_what_has_no_content_has_no_fingerprint():
    with pytest.raises(TypeError, match="generator"):
        fingerprint([1, (x for x in range(3))])


def text(word):
    """A short text as a pickle holds it."""
    return b"\x8c" + bytes([len(word)]) + word.encode()


def call(module, name, argument):
    """The pickle of a list with what a call of `module.name` gives."""
    return b"\x80\x04]" + text(module) + text(name) + b"\x93" + text(argument) + b"\x85Ra."


@pytest.mark.parametrize("trap", [call("os", "system", "true"), call("numpy.lib._npyio_impl", "os.system", "true")])
def test_a_crafted_chunk_runs_nothing(tmp_path, monkeypatch, trap):
    """A stranger's pickle under the right checksum is not done, and the study that resumes does it anew."""
    ran = []
    monkeypatch.setattr(os, "system", lambda command: ran.append(command))
    pickle.loads(trap)
    assert ran == ["true"]  # the trap is one: an ordinary reader, or one that trusts NumPy by name, runs the command
    ran.clear()
    place = tmp_path / "a"
    assert run(range(2), abs, place, engine=local(1), chunk=2) == [0, 1]
    chunk, = place.glob("chunk-*")
    whole = chunk.read_bytes()
    chunk.write_bytes(hashlib.sha256(trap).digest() + trap)
    assert run(range(2), abs, place, engine=local(1), chunk=2) == [0, 1]
    assert not ran and chunk.read_bytes() == whole


def negated(piece: float) -> float:
    return -piece


def test_results_of_another_type_are_not_done(tmp_path):
    """Whole, unpacked, and yet not what the function makes: done anew instead of failing further on."""
    run([1.0], negated, tmp_path / "a", engine=local(1))
    chunk, = (tmp_path / "a").glob("chunk-*")
    for strange in (["text"], [None], [[1.0]], [True]):
        packed = pack(strange)
        chunk.write_bytes(hashlib.sha256(packed).digest() + packed)
        assert run([1.0], negated, tmp_path / "a", engine=local(1)) == [-1.0]


def test_write_and_read(tmp_path):
    chunks = Chunks.open(tmp_path / "a" / "b", STUDY)
    assert chunks.read("one") is None
    chunks.write("one", pack([1.5]))
    assert chunks.read("one") == [1.5] == Chunks.open(tmp_path / "a" / "b", STUDY).read("one")
    assert sorted(p.name for p in chunks.path.iterdir()) == ["chunk-one", "study.json"]


def test_a_new_folder_without_a_chunk_is_left_as_it_was(tmp_path):
    """Not one that was there before: somebody else may be about to write to it."""
    first = Chunks.open(tmp_path / "a", STUDY)
    Chunks.open(tmp_path / "a", STUDY).leave()
    assert (tmp_path / "a" / "study.json").exists()
    first.leave()
    assert not (tmp_path / "a").exists()
    kept = Chunks.open(tmp_path / "a", STUDY)
    kept.write("one", pack([1.0]))
    kept.leave()
    assert kept.read("one") == [1.0]


@pytest.mark.parametrize("spoil", [lambda c: c[:-1], lambda c: b"", lambda c: c[:40] + b"x" + c[41:], lambda c: c[:10]])
def test_a_damaged_chunk_is_not_done(tmp_path, spoil):
    chunks = Chunks.open(tmp_path, STUDY)
    chunks.write("one", pack([1.0, 2.0]))
    place = tmp_path / "chunk-one"
    place.write_bytes(spoil(place.read_bytes()))
    assert chunks.read("one") is None


@pytest.mark.parametrize(("change", "words"), [
    ({"about": {"rig": "cabinet", "axes": "controller.kp=1:2:3"}}, ("rig", "cabinet", "wrist")),
    ({"about": {"rig": "wrist"}}, ("axes", "controller.kp=1:2:3")),
    ({"content": "c"}, ("inputs",)),
    ({"code": "other"}, ("version of the code",)),
])
def test_another_study_is_refused_in_one_line(tmp_path, change, words):
    Chunks.open(tmp_path, STUDY).write("one", pack([1.0]))
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(InputError) as refused:
        Chunks.open(tmp_path, STUDY | change)
    line = str(refused.value)
    assert str(tmp_path) in line and all(word in line for word in words) and "\n" not in line
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe", b"[]", b"3", b"[" * 100_000, b"9" * 5000])
def test_a_description_that_is_none(tmp_path, content):
    (tmp_path / "study.json").write_bytes(content)
    with pytest.raises(InputError, match="study"):
        Chunks.open(tmp_path, STUDY)


def test_a_folder_with_something_else_in_it(tmp_path):
    (tmp_path / "letters.txt").write_text("mine")
    with pytest.raises(InputError, match=r"letters\.txt"):
        Chunks.open(tmp_path, STUDY)
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]


def test_a_file_in_the_folder_s_place(tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(InputError, match="not a folder"):
        Chunks.open(tmp_path / "file", STUDY)


def test_what_a_kill_left_is_swept_up_later(tmp_path):
    """A temporary file that nobody can be writing any more goes; one that is a moment old stays."""
    Chunks.open(tmp_path, STUDY)
    old, new = tmp_path / "chunk-one.1.part", tmp_path / "chunk-two.2.part"
    old.write_bytes(b"half")
    new.write_bytes(b"half")
    os.utime(old, (time.time() - 100.0,) * 2)
    Chunks.open(tmp_path, STUDY)
    assert not old.exists() and new.exists()


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    place = tmp_path / "a"
    write_whole(place, b"old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(place, b"new")
    assert place.read_bytes() == b"old" and list(tmp_path.iterdir()) == [place]
    with pytest.raises(InputError, match="cannot be written: No space left"):
        Chunks(tmp_path).write("one", b"")


def test_the_code_has_a_version():
    assert code_version() == code_version() and len(code_version()) == 20
