"""JSON that is read back: as its declared type, or one line."""
import json
import math
from typing import Annotated

import pytest
from pydantic import BeforeValidator, TypeAdapter

from experiments.work import json_file
from experiments.work.json_file import from_words, read_json
from experiments.work.output import plain
from plant.errors import InputError

CHECKER = TypeAdapter(dict[str, Annotated[float, BeforeValidator(from_words)]])


def read(path):
    return read_json(path, CHECKER, f"--that {path}", "`cuffloop this`")


def test_numbers_come_back_as_they_were_written(tmp_path):
    written = {"a": 0.1, "b": math.inf, "c": -math.inf, "d": math.nan}
    (tmp_path / "a").write_text(json.dumps(plain(written)))
    found = read(tmp_path / "a")
    assert repr(found) == repr(written)


@pytest.mark.parametrize(("content", "says"), [
    (b"", "is not JSON as `cuffloop this` writes it"), (b"\xff", "is not JSON"), (b"[" * 10**5, "is not JSON"),
    (b"9" * 5000, "is not JSON"), (b"[]", "the document = \\[\\]: input should be a valid dictionary; give what"),
    (b'{"a": "x"}', "a = 'x': input should be a valid number"), (b'{"a": {"b": 1}}', "a = {'b': 1}: "),
    (b'{"\\n\\u202e": null}', "= None: "),
])
def test_one_line(tmp_path, content, says):
    (tmp_path / "a").write_bytes(content)
    with pytest.raises(InputError, match=says) as refused:
        read(tmp_path / "a")
    assert str(refused.value).startswith(f"--that {tmp_path / 'a'}: ") and str(refused.value).isprintable()


def test_what_is_no_file(tmp_path, monkeypatch):
    for path, says in ((tmp_path, "Is a directory"), (tmp_path / "b", "No such file"), (tmp_path / "x\0", "null byte")):
        with pytest.raises(InputError, match=f"cannot be read: .*{says}"):
            read(path)
    monkeypatch.setattr(json_file, "MOST_BYTES", 10)
    (tmp_path / "a").write_text(" " * 11)
    with pytest.raises(InputError, match="more than 10 bytes"):
        read(tmp_path / "a")
